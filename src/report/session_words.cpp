#include "report/session_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/words.hpp"

namespace baizetrace::report {
namespace {

constexpr int kFewestForBias = 5;    // attempts
constexpr double kLeastBias = 0.05;  // m: less than a ball's width is no bias worth a word

// Half the mean's 95 % interval, m.
double half_interval(const practice::MeanSd& m) {
  return practice::student(practice::kNinetyFive, m.n - 1.0) * m.sd / std::sqrt(static_cast<double>(m.n));
}
bool biased(const practice::MeanSd& m) {
  return m.n >= kFewestForBias && std::abs(m.mean) > kLeastBias && std::abs(m.mean) > half_interval(m);
}
bool surely_right(const practice::MeanSd& m) {
  return m.n >= kFewestForBias && std::abs(m.mean) + half_interval(m) < kLeastBias;
}

std::string separation_words(const practice::GroupSummary& s) {
  if (s.separates) {
    const practice::Separation& d = *s.separates;
    const bool more = d.hits.mean > d.misses.mean;
    if (d.quantity == "pace")
      return fmt::format("Your good ones are {}: {:.2f} m/s against {:.2f}.", more ? "firmer" : "softer", d.hits.mean,
                         d.misses.mean);
    if (d.quantity == "direction")
      return fmt::format("Your good ones are aimed {:.2f} degrees further {}.",
                         std::abs(degrees(d.hits.mean - d.misses.mean)), more ? "right" : "left");
    if (d.quantity == "side")
      return fmt::format("Your good ones carry more {} side.", more ? "right-hand" : "left-hand");
    if (d.quantity == "tip's height") return fmt::format("Your good ones are struck {}.", more ? "higher" : "lower");
    return fmt::format("Your good ones differ in how the white was put down ({}): {:.1f} mm.", d.quantity.substr(13),
                       1000 * std::abs(d.hits.mean - d.misses.mean));
  }
  if (s.separation_tried > 0) return "Nothing that was measured tells your good ones from the others.";
  return {};
}

}  // namespace

std::string percent(int made, int of, const practice::Interval& i) {
  return fmt::format("{:.0f} % ({:.0f}-{:.0f})", of > 0 ? 100.0 * made / of : 0.0, 100 * i.low, 100 * i.high);
}

GroupWords group_words(const practice::GroupSummary& s) {
  GroupWords w;
  if (s.pots_of > 0)
    w.verdict = fmt::format("{} played, {} in.", s.played, s.pots);
  else if (s.judged > 0)
    w.verdict = fmt::format("{} played, {} met the goal.", s.played, s.hits);
  else
    w.verdict = fmt::format("{} {}.", s.played, s.played == 1 ? "shot" : "shots");
  const auto say = [&](const std::string& words) {
    if (!words.empty()) w.lead += (w.lead.empty() ? "" : " ") + words;
  };
  if (s.pots_of > 0) {
    std::string line = percent(s.pots, s.pots_of, s.pot_interval);
    if (s.pots_of < s.played) line = fmt::format("of {} that could be judged, ", s.pots_of) + line;
    if (s.boxes) line += fmt::format(", {} in and on", s.boxes->both);
    if (s.in_off > 0) line += fmt::format(", {} in-off", s.in_off);
    say(capital(line) + ".");
  } else if (s.judged > 0) {
    say(fmt::format("{} of {} judged.", percent(s.hits, s.judged, s.hit_interval), s.judged));
  }
  if (s.mark && s.rest && s.rest->n > 1)
    say(fmt::format("Half stopped within {:.0f} cm of the mark.", 100 * s.rest->median_from_mark));
  if (biased(s.along))
    say(fmt::format("You run {}, by {:.0f} cm on average.", s.along.mean < 0 ? "short" : "long",
                    100 * std::abs(s.along.mean)));
  if (biased(s.across))
    say(fmt::format("You stop {:.0f} cm to the {} on average.", 100 * std::abs(s.across.mean),
                    s.across.mean > 0 ? "left" : "right"));
  say(separation_words(s));
  if (s.by_hand > 0) say(fmt::format("In {} the white was not seen to stop.", s.by_hand));
  if (s.white_placed > 0) say(fmt::format("Mark: {:.0f} mm.", 1000 * s.white_placed));

  const bool off_cushions = !s.routes.empty() && std::none_of(s.routes.begin(), s.routes.end(),
                                                              [](const auto& r) { return r.first.empty(); });
  constexpr double kCareless = 0.003;  // m: common practice, the trade's sheet
  if (s.white_placed > kCareless)
    w.advice = "Put the white down more carefully: half of the placings are off by more than 3 mm.";
  else if (biased(s.along) && (!biased(s.across) || std::abs(s.along.mean) >= std::abs(s.across.mean)))
    w.advice = s.along.mean < 0 ? "Try it firmer." : "Try it softer.";
  else if (biased(s.across))
    w.advice = fmt::format("{}he white {} too far {}.", surely_right(s.along) ? "The pace is right; t" : "T",
                           off_cushions ? "leaves its last cushion" : "runs", s.across.mean > 0 ? "left" : "right");
  return w;
}

}  // namespace baizetrace::report
