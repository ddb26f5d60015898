#include "motion/derivatives.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::motion {

namespace {
struct InputRow {
  Input::Of of;
  const char* name;
  double step;  // a change far below what a practitioner could do, far above the simulator's rounding
};
constexpr InputRow kRows[] = {{Input::Of::speed, "speed", 1e-4},
                              {Input::Of::heading, "heading", 1e-5},
                              {Input::Of::right, "right", 1e-4},
                              {Input::Of::height, "height", 1e-4},
                              {Input::Of::elevation, "elevation", 1e-4},
                              {Input::Of::sliding, "sliding", 1e-5},
                              {Input::Of::rolling, "rolling", 1e-6},
                              {Input::Of::spin_decay, "spin_decay", 1e-3},
                              {Input::Of::ball_restitution, "ball_restitution", 1e-5},
                              {Input::Of::ball_friction, "ball_friction", 1e-5},
                              {Input::Of::cushion_restitution, "cushion_restitution", 1e-5},
                              {Input::Of::cushion_friction, "cushion_friction", 1e-5},
                              {Input::Of::slope_x, "slope_x", 1e-6},
                              {Input::Of::slope_y, "slope_y", 1e-6},
                              {Input::Of::nap_drift, "nap_drift", 1e-6},
                              {Input::Of::nap_side, "nap_side", 1e-6},
                              {Input::Of::place_x, "place_x", 1e-6},
                              {Input::Of::place_y, "place_y", 1e-6}};

const InputRow& row_of(Input::Of of) {
  return *std::find_if(std::begin(kRows), std::end(kRows), [&](const InputRow& r) { return r.of == of; });
}
bool is_place(Input::Of of) { return of == Input::Of::place_x || of == Input::Of::place_y; }

// What is different in the order of events, in words; empty: nothing.
std::string difference(const Prediction& a, const Prediction& b) {
  const auto what = [](const BallPath& p, std::size_t k) -> std::string {
    if (k >= p.contacts.size()) return "nothing more";
    return p.contacts[k].with + (p.contacts[k].kind == ContactKind::jaw      ? "'s jaw"
                                 : p.contacts[k].kind == ContactKind::pocket ? "'s fall"
                                                                             : "");
  };
  for (std::size_t i = 0; i < a.balls.size(); ++i) {
    const BallPath &p = a.balls[i], &q = b.balls[i];
    for (std::size_t k = 0; k < std::max(p.contacts.size(), q.contacts.size()); ++k) {
      const bool same = k < p.contacts.size() && k < q.contacts.size() && p.contacts[k].kind == q.contacts[k].kind &&
                        p.contacts[k].with == q.contacts[k].with;
      if (!same)
        return fmt::format("contact {} of {} is {} here and {} beside it", k + 1, p.ball, what(p, k), what(q, k));
    }
    bool same = p.pieces.size() == q.pieces.size() && p.rest.has_value() == q.rest.has_value();
    for (std::size_t k = 0; same && k < p.pieces.size(); ++k) same = p.pieces[k].phase == q.pieces[k].phase;
    if (!same) return fmt::format("{} slides, rolls or rests in another order", p.ball);
  }
  return "";
}

// All numbers of an outcome in one row; headings as differences from `base`'s, so that none wraps.
std::vector<double> numbers(const Prediction& p, const Prediction& base) {
  std::vector<double> out;
  const auto put = [&](const Vec2& v) {
    out.push_back(v.x());
    out.push_back(v.y());
  };
  for (std::size_t i = 0; i < p.balls.size(); ++i) {
    const BallPath& b = p.balls[i];
    for (const Piece& q : b.pieces) {
      out.push_back(q.from);
      out.push_back(q.to);
      put(q.place);
      put(q.velocity);
      put(q.acceleration);
    }
    for (std::size_t k = 0; k < b.contacts.size(); ++k) {
      const Contact &c = b.contacts[k], &c0 = base.balls[i].contacts[k];
      out.push_back(c.time);
      put(c.at);
      out.push_back(c.speed_in);
      out.push_back(c.speed_out);
      out.push_back(wrap_angle(c.heading_in - c0.heading_in));
      out.push_back(wrap_angle(c.heading_out - c0.heading_out));
    }
    put(b.rest ? b.rest->at : Vec2::Zero());
    out.push_back(b.rest_time);
    out.push_back(b.pocket_time);
  }
  return out;
}

std::vector<BallRates> rates_from(const std::vector<double>& row, const Prediction& base) {
  std::vector<BallRates> out;
  std::size_t n = 0;
  const auto one = [&] { return row[n++]; };
  const auto two = [&] {
    const double x = one();
    return Vec2(x, one());
  };
  for (const BallPath& b : base.balls) {
    BallRates r;
    for (std::size_t k = 0; k < b.pieces.size(); ++k) {
      PieceRate p;
      p.from = one();
      p.to = one();
      p.place = two();
      p.velocity = two();
      p.acceleration = two();
      r.pieces.push_back(p);
    }
    for (std::size_t k = 0; k < b.contacts.size(); ++k) {
      ContactRate c;
      c.time = one();
      c.at = two();
      c.speed_in = one();
      c.speed_out = one();
      c.heading_in = one();
      c.heading_out = one();
      r.contacts.push_back(c);
    }
    r.rest = two();
    r.rest_time = one();
    r.pocket_time = one();
    out.push_back(std::move(r));
  }
  return out;
}
}  // namespace

std::string name_of(const Input& input) {
  const std::string name = row_of(input.of).name;
  return is_place(input.of) ? name + " of " + input.ball : name;
}

void turn(const Input& input, double by, Strike& s, Conditions& c, std::vector<Ball>& balls) {
  using Of = Input::Of;
  switch (input.of) {
    case Of::speed:
      s.speed += by;
      break;
    case Of::heading:
      s.heading += by;
      break;
    case Of::right:
      s.right += by;
      break;
    case Of::height:
      s.height += by;
      break;
    case Of::elevation:
      s.elevation += by;
      break;
    case Of::sliding:
      c.sliding += by;
      break;
    case Of::rolling:
      c.rolling += by;
      break;
    case Of::spin_decay:
      c.spin_decay += by;
      break;
    case Of::ball_restitution:
      c.ball_restitution += by;
      break;
    case Of::ball_friction:
      c.ball_friction[0] += by;
      break;
    case Of::cushion_restitution:
      for (auto& row : c.cushion_restitution) row[1] += by;
      break;
    case Of::cushion_friction:
      c.cushion_friction += by;
      break;
    case Of::slope_x:
      c.slope.x() += by;
      break;
    case Of::slope_y:
      c.slope.y() += by;
      break;
    case Of::nap_drift:
      c.nap.drift += by;
      break;
    case Of::nap_side:
      c.nap.side += by;
      break;
    case Of::place_x:
    case Of::place_y:
      for (Ball& b : balls)
        if (b.name == input.ball) b.place[input.of == Of::place_x ? 0 : 1] += by;
      break;
  }
}

std::optional<Vec2> Sensitivity::place(std::size_t input, std::size_t ball, double t) const {
  const Derivative& d = by.at(input);
  if (!d.known) return std::nullopt;
  const auto& pieces = prediction.balls.at(ball).pieces;
  for (std::size_t k = 0; k < pieces.size(); ++k) {
    const Piece& p = pieces[k];
    if (t < p.from || t > p.to) continue;
    const PieceRate& r = d.balls[ball].pieces[k];
    const double dt = t - p.from;
    return Vec2(r.place + dt * (r.velocity + 0.5 * dt * r.acceleration) - r.from * p.velocity_at(t));
  }
  return std::nullopt;
}

Result<Sensitivity> sensitivity(const table::Table& table, const Conditions& conditions, std::span<const Ball> balls,
                                const Strike& strike, std::span<const Input> inputs, const Options& options) {
  Sensitivity out;
  auto base = simulate(table, conditions, balls, strike, options);
  if (!base) return pass_on(base);
  if (!base->complete) return fail("no derivatives: {}", base->why);
  out.prediction = std::move(*base);

  const auto beside = [&](const Input& input, double by) {
    Strike s = strike;
    Conditions c = conditions;
    std::vector<Ball> b(balls.begin(), balls.end());
    turn(input, by, s, c, b);
    return simulate(table, c, b, s, options);
  };
  // Differences over (-2, -1, 1, 2) steps; at the edge of what an input may be (a level cue) over (0, 1, 2) to one
  // side.
  struct Scheme {
    std::array<int, 4> at;
    std::array<double, 4> weight;
    double over;
    double own;  // weight of the shot itself
  };
  constexpr Scheme kSchemes[] = {{{-2, -1, 1, 2}, {1, -8, 8, -1}, 12, 0},
                                 {{1, 2, 0, 0}, {4, -1, 0, 0}, 2, -3},
                                 {{-1, -2, 0, 0}, {-4, 1, 0, 0}, 2, 3}};
  constexpr int kShorter = 3;  // times a step is made ten times shorter before the order counts as changing

  for (const Input& input : inputs) {
    if (is_place(input.of) &&
        std::none_of(balls.begin(), balls.end(), [&](const Ball& b) { return b.name == input.ball; }))
      return fail("no derivative with respect to {}: there is no such ball", name_of(input));
    Derivative d;
    d.input = input;
    d.step = row_of(input.of).step;
    for (int shorter = 0; shorter <= kShorter && !d.known; ++shorter) {
      if (shorter > 0) d.step /= 10;
      bool refused = true;  // the input cannot be turned that way: try to one side
      for (const Scheme& s : kSchemes) {
        if (!refused) break;
        refused = false;
        std::vector<double> sum = numbers(out.prediction, out.prediction);
        for (double& x : sum) x *= s.own;
        bool good = true;
        for (std::size_t k = 0; k < s.at.size() && good; ++k) {
          if (s.at[k] == 0) continue;
          const auto p = beside(input, s.at[k] * d.step);
          if (!p) {
            refused = true;
            good = false;
            d.why = p.error().what;
            break;
          }
          d.why = p->complete ? difference(out.prediction, *p) : p->why;
          good = d.why.empty();
          if (!good) break;
          const std::vector<double> row = numbers(*p, out.prediction);
          for (std::size_t n = 0; n < row.size(); ++n) sum[n] += s.weight[k] * row[n];
        }
        if (!good) continue;
        for (double& x : sum) x /= s.over * d.step;
        d.balls = rates_from(sum, out.prediction);
        d.known = true;
      }
    }
    out.by.push_back(std::move(d));
  }
  return out;
}

}  // namespace baizetrace::motion
