#include "motion/cushion_series.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::motion {

namespace {
// Of friction: the cloth is as good as not pressed.
constexpr double kLifted = 1e-12;

template <class Terms>
double sum(const Terms& terms, double h) {
  double r = terms.back();
  for (std::size_t i = terms.size() - 1; i-- > 0;) r = r * h + terms[i];
  return r;
}
template <class Pairs>
double sum(const Pairs& terms, int lane, double h) {
  double r = terms.back()[lane];
  for (std::size_t i = terms.size() - 1; i-- > 0;) r = r * h + terms[i][lane];
  return r;
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

// The ways of order k along slips that are not zero: |u|^2 = u . u, |u| way = u.
void CushionSeries::direct(std::size_t k) {
  Pair x = x_[k], y = y_[k];
  if (nose_ != SlipKind::kSlips) x[kNose] = y[kNose] = 0;
  if (cloth_ != SlipKind::kSlips) x[kCloth] = y[kCloth] = 0;
  u_x_[k] = x;
  u_y_[k] = y;
  // From the middle outwards: the newest terms last, so that the sums need not wait for them.
  const std::size_t half = k / 2;
  const bool even = 2 * half == k;
  Pair square = Pair::Zero(), lost_x = Pair::Zero(), lost_y = Pair::Zero();
  if (even) {
    square = 0.5 * (u_x_[half] * u_x_[half] + u_y_[half] * u_y_[half] - n_[half] * n_[half]);
    lost_x = n_[half] * f_x_[half];
    lost_y = n_[half] * f_y_[half];
  }
  for (std::size_t i = even ? half - 1 : half; i > 0; --i) {
    square += u_x_[i] * u_x_[k - i] + u_y_[i] * u_y_[k - i] - n_[i] * n_[k - i];
    lost_x += n_[i] * f_x_[k - i] + n_[k - i] * f_x_[i];
    lost_y += n_[i] * f_y_[k - i] + n_[k - i] * f_y_[i];
  }
  const Pair n = over_ * (square + (u_x_[0] * x + u_y_[0] * y));
  n_[k] = n;
  x -= lost_x;
  y -= lost_y;
  f_x_[k] = over_ * (x - n * f_x_[0]);
  f_y_[k] = over_ * (y - n * f_y_[0]);
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

  const double slope = law.cloth_friction * law.cosine * law.nose_friction;
  const double pressed = law.press(law.nose_friction * ways.nose.y());
  const bool undecided = std::abs(pressed) < kLifted && nose == SlipKind::kSlips;
  press_slope_ = pressed > 0 && !undecided ? slope : 0;
  limit_[0] = undecided ? 0 : law.cloth_friction * std::max(0.0, pressed);
  Terms<Pair> rate_x, rate_y;
  Terms<double> into;
  const bool both_slip = nose == SlipKind::kSlips && cloth == SlipKind::kSlips;
  for (std::size_t k = 0; k < kOrder; ++k) {
    const int order_k = static_cast<int>(k);
    if (k == 0) {
      start(ways, rate_x[0], rate_y[0]);
    } else {
      direct(k);
      if (k == 1 && undecided && f_y_[1][kNose] > 0) press_slope_ = slope;
      Pair middle = Pair::Zero();
      const std::size_t half = k / 2;
      if (2 * half == k) middle = limit_[half] * g_[half];
      for (std::size_t i = (k - 1) / 2; i > 0; --i) middle += limit_[i] * g_[k - i] + limit_[k - i] * g_[i];
      if (both_slip) {
        const double x = law.nose_friction * f_x_[k][kNose], y = law.nose_friction * f_y_[k][kNose];
        limit_[k] = press_slope_ * f_y_[k][kNose];
        g_[k] = Pair(f_x_[k][kCloth], f_y_[k][kCloth]);
        const Pair acts = middle + limit_[0] * g_[k] + limit_[k] * g_[0];
        acts_[k] = acts;
        rate_x[k] = Pair(law.a * acts[0] - 3.5 * x, law.a * x - 3.5 * acts[0]);
        rate_y[k] = Pair(-law.d * y - law.b * acts[1], -law.b * y - 3.5 * acts[1]);
      } else {
        Vec2 f(f_x_[k][kNose], f_y_[k][kNose]), g(f_x_[k][kCloth], f_y_[k][kCloth]);
        if (nose == SlipKind::kLeaves || cloth == SlipKind::kLeaves) leave(order_k, middle.matrix(), f, g);
        keep(k, order(order_k, f, g, middle.matrix()), rate_x[k], rate_y[k]);
      }
    }
    into[k] = law.cosine * law.share * (y_[k][kCloth] - y_[k][kNose]);

    Pair x = rate_x[k], y = rate_y[k];
    double work = into[k];
    if (over != kNone) {
      const double first = n_[0][over], last = n_[k][over];
      Pair sum_x = Pair::Zero(), sum_y = Pair::Zero();
      double sum_work = 0;
      for (std::size_t i = 1; i < k; ++i) {
        const double n = n_[k - i][over];
        sum_x += n * rate_x[i];
        sum_y += n * rate_y[i];
        sum_work += n * into[i];
      }
      x = sum_x + first * x;
      y = sum_y + first * y;
      work = sum_work + first * work;
      if (k > 0) {
        x += last * rate_x[0];
        y += last * rate_y[0];
        work += last * into[0];
      }
    }
    const double share = 1.0 / (order_k + 1);
    x_[k + 1] = share * x;
    y_[k + 1] = share * y;
    work_[k + 1] = share * work;
  }
}

Slips CushionSeries::at(double h) const {
  Pair x = x_.back(), y = y_.back();
  for (std::size_t i = kOrder; i-- > 0;) {
    x = x * h + x_[i];
    y = y * h + y_[i];
  }
  return {Vec2(x[kNose], y[kNose]), Vec2(x[kCloth], y[kCloth]), sum(work_, h)};
}

double CushionSeries::into(double h) const {
  Pair y = y_.back();
  for (std::size_t i = kOrder; i-- > 0;) y = y * h + y_[i];
  return law_->share * (y[kCloth] - y[kNose]);
}

double CushionSeries::work(double h) const { return sum(work_, h); }

double CushionSeries::reach(double error, double scale) const {
  const auto log_of = [&](std::size_t k) {  // of the least 1 / h
    const double square = (x_[k].square() + y_[k].square()).sum() + work_[k] * work_[k] / (scale * scale);
    constexpr double kLeast = 1e-300;
    return std::log(square / (error * error) + kLeast) / static_cast<double>(2 * k);
  };
  return std::exp(-std::max(log_of(kOrder), log_of(kOrder - 1)));
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
