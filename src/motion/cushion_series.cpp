#include "motion/cushion_series.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::motion {

namespace {
// Of friction: the cloth is as good as not pressed.
constexpr double kLifted = 1e-12;

// Of the terms, or of what `of` takes of each. The even and the odd ones by themselves, so that little waits.
template <class T, std::size_t kTerms, class Of>
auto sum(const std::array<T, kTerms>& terms, double h, const Of& of) {
  const double square = h * h;
  std::size_t i = (kTerms - 1) / 2 * 2, j = kTerms / 2 * 2 - 1;
  auto even = of(terms[i]), odd = of(terms[j]);
  for (; i >= 2; i -= 2) even = even * square + of(terms[i - 2]);
  for (; j >= 3; j -= 2) odd = odd * square + of(terms[j - 2]);
  return decltype(even)(even + h * odd);
}
template <class T, std::size_t kTerms>
T sum(const std::array<T, kTerms>& terms, double h) {
  return sum(terms, h, [](const T& term) { return term; });
}
template <class Pairs>
double sum(const Pairs& terms, int lane, double h) {
  return sum(terms, h, [lane](const auto& term) { return double(term[lane]); });
}
}  // namespace

// The terms of order k that friction's ways of that order make.
struct CushionSeries::Order {
  Vec2 f, g;  // friction's ways: where a slip is held, what holds it
  double limit = 0;
  Vec2 acts = Vec2::Zero();  // the cloth's friction over the normal force
  Ways rate;
};

// `f`, `g`: friction's ways, not looked at where a slip is held; `middle`: the terms of the cloth's friction that lower
// orders make.
CushionSeries::Order CushionSeries::order(int k, const Vec2& f, const Vec2& g, const Vec2& middle) const {
  const CushionLaw& c = *law_;
  const double mu = c.nose_friction;
  Order r{.f = f, .g = g, .rate = {}};
  if (nose_ == SlipKind::kHeld && cloth_ == SlipKind::kHeld) {
    r.f = r.g = Vec2::Zero();
  } else if (cloth_ == SlipKind::kHeld) {
    r.limit = press_slope_ * f.y();
    r.acts = mu / 3.5 * Vec2(c.a * f.x(), -c.b * f.y());
  } else {
    const Vec2 known = middle + limit_[0] * g, first = g_[0].matrix();
    if (nose_ == SlipKind::kHeld) {
      const double stiff = c.d * mu + c.b * press_slope_ * first.y();
      r.f.y() = stiff > 0 ? -c.b * known.y() / stiff : 0;
      r.f.x() = mu > 0 ? c.a / (3.5 * mu) * (known.x() + press_slope_ * r.f.y() * first.x()) : 0;
    }
    r.limit = press_slope_ * r.f.y();
    r.acts = known + r.limit * first;
  }
  r.rate = c.rate(mu * r.f, r.acts);
  if (k > 0) {  // without what does not change
    r.rate.nose.y() -= c.sine * c.cosine;
    r.rate.cloth.y() += c.cosine;
  }
  if (nose_ == SlipKind::kHeld) r.rate.nose.setZero();
  if (cloth_ == SlipKind::kHeld) r.rate.cloth.setZero();
  return r;
}

// The ways of order k along slips that are not zero: |u|^2 = u . u, |u| way = u. What the newest terms of the slips do
// comes last, and only through how far they go across the way of order 0, so that little waits for them.
[[gnu::always_inline]] inline CushionSeries::Newest CushionSeries::direct(std::size_t k, Pair x, Pair y) {
  const std::size_t half = k / 2;
  const bool even = 2 * half == k;
  Pair square = Pair::Zero(), lost_x = Pair::Zero(), lost_y = Pair::Zero();
  if (even) {
    square = 0.5 * (u_x_[half] * u_x_[half] + u_y_[half] * u_y_[half] - n_[half] * n_[half]);
    lost_x = n_[half] * f_x_[half];
    lost_y = n_[half] * f_y_[half];
  }
  for (std::size_t i = (k - 1) / 2; i > 0; --i) {
    square += u_x_[i] * u_x_[k - i] + u_y_[i] * u_y_[k - i] - n_[i] * n_[k - i];
    lost_x += n_[i] * f_x_[k - i] + n_[k - i] * f_x_[i];
    lost_y += n_[i] * f_y_[k - i] + n_[k - i] * f_y_[i];
  }
  square *= over_;
  lost_x = over_ * (lost_x + f_x_[0] * square);
  lost_y = over_ * (lost_y + f_y_[0] * square);
  x *= slips_;
  y *= slips_;
  u_x_[k] = x;
  u_y_[k] = y;
  const Pair across = f_x_[0] * y - f_y_[0] * x;
  n_[k] = square + (f_x_[0] * x + f_y_[0] * y);
  const Newest f{turned_x_ * across - lost_x, turned_y_ * across - lost_y};
  f_x_[k] = f.x;
  f_y_[k] = f.y;
  return f;
}

// The way of order k of a slip that leaves zero, q, and its size, s: s' q + s q' = rate, the rate linear in the way.
void CushionSeries::leave(int k, const Vec2& middle, Vec2& f, Vec2& g) {
  const bool at_nose = nose_ == SlipKind::kLeaves;
  Vec2& way = at_nose ? f : g;
  const int lane = at_nose ? kNose : kCloth;
  const auto rate = [&](const Vec2& q) {
    way = q;
    const Order o = order(k, f, g, middle);
    return at_nose ? o.rate.nose : o.rate.cloth;
  };
  const auto q = [&](int i) {
    return Vec2(f_x_[static_cast<std::size_t>(i)][lane], f_y_[static_cast<std::size_t>(i)][lane]);
  };
  const auto s = [&](int i) -> double& { return leaving_[static_cast<std::size_t>(i)]; };
  const Vec2 first = q(0);
  const double side = first.x() < 0 ? -1 : 1;  // mirrored, all is mirrored to the last bit
  const Vec2 across(-side * first.y(), side * first.x());
  double along = 0;  // of the way: it stays a unit vector
  Vec2 known = Vec2::Zero();
  for (int i = 1; i < k; ++i) {
    along -= 0.5 * q(i).dot(q(k - i));
    known += (i + 1) * s(i + 1) * q(k - i) + (k - i) * s(i + 1) * q(k - i);
  }
  const Vec2 start = rate(along * first);
  if (k == 1) turned_ = start - rate(along * first + across);  // the same in every order
  // start - known = (k + 1) s_(k+1) q_0 + (k + 1) s_1 (along q_0 + turn across) + turn turned
  const Vec2 e = start - known - (k + 1) * s(1) * along * first, t = turned_ + (k + 1) * s(1) * across;
  const double turn = e.dot(across) / t.dot(across);
  s(k + 1) = (e - turn * t).dot(first) / (k + 1);
  way = along * first + turn * across;
}

// What acts at the start, whatever holds or moves the slips.
void CushionSeries::start(const Ways& ways, Pair& rate_x, Pair& rate_y) {
  Order now{.f = ways.nose, .g = ways.cloth, .limit = limit_[0], .acts = limit_[0] * ways.cloth, .rate = {}};
  now.rate = law_->rate(law_->nose_friction * now.f, now.acts);
  if (nose_ == SlipKind::kHeld) now.rate.nose.setZero();
  if (cloth_ == SlipKind::kHeld) now.rate.cloth.setZero();
  if (nose_ == SlipKind::kLeaves) leaving_[1] = now.rate.nose.dot(ways.nose);
  if (cloth_ == SlipKind::kLeaves) leaving_[1] = now.rate.cloth.dot(ways.cloth);
  keep(0, now, rate_x, rate_y);
}

void CushionSeries::keep(std::size_t k, const Order& o, Pair& rate_x, Pair& rate_y) {
  f_x_[k] = Pair(o.f.x(), o.g.x());
  f_y_[k] = Pair(o.f.y(), o.g.y());
  g_[k] = o.g.array();
  limit_[k] = o.limit;
  acts_[k] = o.acts.array();
  rate_x = Pair(o.rate.nose.x(), o.rate.cloth.x());
  rate_y = Pair(o.rate.nose.y(), o.rate.cloth.y());
}

void CushionSeries::expand(const CushionLaw& law, const Slips& s, const Ways& ways, SlipKind nose, SlipKind cloth,
                           Lane over) {
  law_ = &law;
  nose_ = nose;
  cloth_ = cloth;
  x_[0] = Pair(s.nose.x(), s.cloth.x());
  y_[0] = Pair(s.nose.y(), s.cloth.y());
  work_[0] = s.work;
  n_[0] = (x_[0].square() + y_[0].square()).sqrt();
  if (nose != SlipKind::kSlips) n_[0][kNose] = 1;  // only divides
  if (cloth != SlipKind::kSlips) n_[0][kCloth] = 1;
  over_ = 1 / n_[0];
  u_x_[0] = x_[0];
  u_y_[0] = y_[0];
  turned_y_ = over_ * Pair(ways.nose.x(), ways.cloth.x());
  slips_ = Pair(nose == SlipKind::kSlips ? 1 : 0, cloth == SlipKind::kSlips ? 1 : 0);
  turned_x_ = -over_ * Pair(ways.nose.y(), ways.cloth.y());

  const double slope = law.cloth_friction * law.cosine * law.nose_friction;
  const double pressed = law.press(law.nose_friction * ways.nose.y());
  const bool undecided = std::abs(pressed) < kLifted && nose == SlipKind::kSlips;
  press_slope_ = pressed > 0 && !undecided ? slope : 0;
  limit_[0] = undecided ? 0 : law.cloth_friction * std::max(0.0, pressed);
  Terms<Pair> rate_x, rate_y;
  Terms<double> into;
  // What the rates take of friction at the nose, of what acts at the cloth, and of how the nose presses on the cloth.
  const double mu = law.nose_friction;
  const Pair nose_x(-3.5 * mu, law.a * mu), nose_y(-law.d * mu, -law.b * mu), cloth_x(law.a, -3.5),
      cloth_y(-law.b, -3.5);
  Pair pressed_x, pressed_y, new_x = x_[0], new_y = y_[0];
  const bool both_slip = nose == SlipKind::kSlips && cloth == SlipKind::kSlips;
  for (std::size_t k = 0; k < kOrder; ++k) {
    const int order_k = static_cast<int>(k);
    Newest newest{Pair::Zero(), Pair::Zero()};
    if (k == 0) {
      start(ways, rate_x[0], rate_y[0]);
    } else {
      newest = direct(k, new_x, new_y);
      if (k == 1) {
        if (undecided && f_y_[1][kNose] > 0) press_slope_ = slope;
        pressed_x = cloth_x * (press_slope_ * g_[0][0]);
        pressed_y = cloth_y * (press_slope_ * g_[0][1]) + nose_y;
      }
      Pair middle = Pair::Zero();
      const std::size_t half = k / 2;
      if (2 * half == k) middle = limit_[half] * g_[half];
      for (std::size_t i = (k - 1) / 2; i > 0; --i) middle += limit_[i] * g_[k - i] + limit_[k - i] * g_[i];
      if (both_slip) {
        const double f_x = newest.x[kNose], f_y = newest.y[kNose], g_x = newest.x[kCloth], g_y = newest.y[kCloth];
        limit_[k] = press_slope_ * f_y;
        g_[k] = Pair(g_x, g_y);
        // Each term of the rates by itself, not by way of what acts at the cloth.
        rate_x[k] = nose_x * f_x + (cloth_x * (limit_[0] * g_x) + (pressed_x * f_y + cloth_x * middle[0]));
        rate_y[k] = cloth_y * (limit_[0] * g_y) + (pressed_y * f_y + cloth_y * middle[1]);
      } else {
        Vec2 f(f_x_[k][kNose], f_y_[k][kNose]), g(f_x_[k][kCloth], f_y_[k][kCloth]);
        if (nose == SlipKind::kLeaves || cloth == SlipKind::kLeaves) leave(order_k, middle.matrix(), f, g);
        keep(k, order(order_k, f, g, middle.matrix()), rate_x[k], rate_y[k]);
      }
    }
    into[k] = law.cosine * law.share * (y_[k][kCloth] - y_[k][kNose]);

    const double share = 1.0 / (order_k + 1);
    if (over == kNone) {
      x_[k + 1] = new_x = share * rate_x[k];
      y_[k + 1] = new_y = share * rate_y[k];
      work_[k + 1] = share * into[k];
      continue;
    }
    Pair x = Pair::Zero(), y = Pair::Zero();
    double work = 0;
    for (std::size_t i = 0; i < k; ++i) {
      const double n = n_[k - i][over];
      x += n * rate_x[i];
      y += n * rate_y[i];
      work += n * into[i];
    }
    const double first = share * n_[0][over];
    x_[k + 1] = new_x = share * x + first * rate_x[k];
    y_[k + 1] = new_y = share * y + first * rate_y[k];
    work_[k + 1] = share * work + first * into[k];
  }
}

Slips CushionSeries::at(double h) const {
  const Pair x = sum(x_, h), y = sum(y_, h);
  return {Vec2(x[kNose], y[kNose]), Vec2(x[kCloth], y[kCloth]), sum(work_, h)};
}

double CushionSeries::into(double h) const {
  const Pair y = sum(y_, h);
  return law_->share * (y[kCloth] - y[kNose]);
}

double CushionSeries::work(double h) const { return sum(work_, h); }

double CushionSeries::reach(double error, double scale) const {
  const double over = 1 / error, of_work = over / scale;
  const auto log_of = [&](std::size_t k) {  // of the least 1 / h: single precision is plenty
    const double work = of_work * work_[k];
    const double square = over * over * (x_[k].square() + y_[k].square()).sum() + work * work;
    int exponent = 0;
    const double mantissa = std::frexp(square, &exponent);
    constexpr float kLeast = -996;  // of terms that are zero: farther than any step goes
    const float log = square == 0 ? kLeast : std::log2(static_cast<float>(mantissa)) + static_cast<float>(exponent);
    return log / static_cast<float>(2 * k);
  };
  return static_cast<double>(std::exp2(-std::max(log_of(kOrder), log_of(kOrder - 1))));
}

double CushionSeries::size(Lane lane, double h) const { return sum(n_, lane, h); }

double CushionSeries::hold(Lane lane, double h) const {
  if (lane == kNose) {
    const double x = sum(f_x_, kNose, h), y = sum(f_y_, kNose, h);
    return 1 - x * x - y * y;
  }
  const double x = sum(acts_, 0, h), y = sum(acts_, 1, h), limit = sum(limit_, h);
  return 1 - (x * x + y * y) / (limit * limit);
}

double CushionSeries::press(double h) const { return law_->press(law_->nose_friction * sum(f_y_, kNose, h)); }

}  // namespace baizetrace::motion
