#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "compare/miss.hpp"

namespace baizetrace::compare {
namespace {

std::string cm(double metres) { return fmt::format("{:.0f} cm", 100 * metres); }

// "3 to 5 mm further right", from ends of one sign.
std::string span_words(const std::array<double, 2>& ends, double unit, const char* name, const char* plus,
                       const char* minus) {
  const double a = unit * std::abs(ends[0]), b = unit * std::abs(ends[1]);
  const double low = std::min(a, b), high = std::max(a, b);
  constexpr double kFine = 3;  // below, tenths are worth saying
  const std::string size =
      high < kFine ? fmt::format("{:.1f} to {:.1f}", low, high) : fmt::format("{:.0f} to {:.0f}", low, high);
  return fmt::format("{} {} {}", size, name, ends[0] + ends[1] > 0 ? plus : minus);
}

std::string join(const std::vector<std::string>& parts) {
  std::string out;
  for (std::size_t i = 0; i < parts.size(); ++i)
    out += (i == 0 ? "" : i + 1 == parts.size() ? " and " : ", ") + parts[i];
  return out;
}

}  // namespace

std::string sentence_of(const practice::Miss& m, const MissWords& w) {
  const double miss = w.rest_off.norm();
  if (miss < kNoMiss) return "Stopped where it was meant to.";
  const double along = w.rest_off.dot(w.along), across = cross(w.along, w.rest_off);
  std::vector<std::string> where;
  constexpr double kSayable = 0.015;  // m
  if (std::abs(along) > kSayable) where.push_back(cm(std::abs(along)) + (along < 0 ? " short" : " long"));
  if (std::abs(across) > kSayable) where.push_back(cm(std::abs(across)) + (across > 0 ? " left" : " right"));
  std::string out = "Stopped " + (where.empty() ? cm(miss) + " off" : join(where)) + " of what was meant";

  struct Cause {
    double size;
    std::string words;
  };
  Vec2 told_sum = Vec2::Zero();
  std::vector<Cause> causes;
  const auto told = [&](const char* part) {
    return std::find(m.not_told.begin(), m.not_told.end(), part) == m.not_told.end();
  };
  const auto add = [&](const char* part, const Vec2& by, const std::string& words) {
    if (told(part) && by.norm() >= kWorthSaying * miss) {
      causes.push_back({by.norm(), words + ", " + cm(by.norm())});
      told_sum += by;
    }
  };
  const double mm = 1e3 * w.radius;
  add("placing", m.placing, "the balls' places, aimed anew from there");
  std::string aim = "the line";
  if (m.aim_at_ball && m.u_aim_at_ball && std::abs(*m.aim_at_ball) > 1.96 * *m.u_aim_at_ball)
    aim = fmt::format("{:.1f} mm too {} at the object ball", 1e3 * std::abs(*m.aim_at_ball),
                      *m.aim_at_ball > 0 ? "thick" : "thin");
  if (w.aim_right && m.u_aim_at_ball && std::abs(*w.aim_right) > 1.96 * *m.u_aim_at_ball)
    aim = fmt::format("{:.1f} mm {} of the line at the object ball", 1e3 * std::abs(*w.aim_right),
                      *w.aim_right > 0 ? "right" : "left");
  add("aim", m.aim, aim);
  if (w.pace_known) add("pace", m.pace, "pace " + span_words(w.pace, 100, "%", "over", "under"));
  add("side", m.side, "tip " + span_words(w.right, mm, "mm", "further right", "further left"));
  add("height", m.height, "tip " + span_words(w.height, mm, "mm", "higher", "lower"));
  // Where pace and height are not told apart, what they do together may be.
  const Vec2 both = m.pace + m.height;
  const auto u_both = m.u.find("pace_and_height");
  if (w.pace_known && !told("pace") && !told("height") && u_both != m.u.end() && both.norm() > 1.96 * u_both->second &&
      both.norm() >= kWorthSaying * miss) {
    causes.push_back({both.norm(), fmt::format("pace and height together (not told apart), {}", cm(both.norm()))});
    told_sum += both;
  }
  const auto u_left = m.u.find("left_over");
  const bool left_told = u_left != m.u.end() && m.left_over.norm() > 1.96 * u_left->second;
  if (left_told && m.left_over.norm() >= 2 * kWorthSaying * miss) {
    causes.push_back({m.left_over.norm(), fmt::format("not the strike (table or a kick), {}", cm(m.left_over.norm()))});
    told_sum += m.left_over;
  }
  std::stable_sort(causes.begin(), causes.end(), [](const Cause& a, const Cause& b) { return a.size > b.size; });
  if (causes.empty()) {
    if (!w.pace_known && m.pace.norm() >= kWorthSaying * miss)
      return out +
             ": cannot tell why; how the table plays was not measured, so neither was a pace too hard or too soft.";
    if (m.u.empty()) return out + ": cannot tell why, nor how well each part of it is known.";
    const bool some = left_told || told("placing") || told("aim") || told("pace") || told("side") || told("height");
    return out + (some ? ": cannot tell why, the parts that are known are small ones."
                       : ": cannot tell why, every part is smaller than its uncertainty.");
  }
  constexpr std::size_t kMostCauses = 3;
  if (causes.size() > kMostCauses) causes.resize(kMostCauses);
  out += ": ";
  for (std::size_t i = 0; i < causes.size(); ++i) out += (i > 0 ? "; " : "") + causes[i].words;
  // What was told explains only a part of it.
  constexpr double kMostOfIt = 0.5;
  if ((w.rest_off - told_sum).norm() > kMostOfIt * miss) out += "; the rest cannot be told apart";
  return out + ".";
}

}  // namespace baizetrace::compare
