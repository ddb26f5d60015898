// A group's attempts summed up, and `summary` of session.json.
#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "practice/statistics.hpp"
#include "practice/stop.hpp"

namespace baizetrace::practice {
namespace {

using Json = nlohmann::ordered_json;

double kept(double v) { return std::round(v * 1e7) / 1e7; }
Json kept(const Vec2& v) { return Json::array({kept(v.x()), kept(v.y())}); }
Json kept(const Interval& i) { return Json::array({kept(i.low), kept(i.high)}); }
Json write(const MeanSd& m) { return {{"n", m.n}, {"mean", kept(m.mean)}, {"sd", kept(m.sd)}}; }

bool asks_for_position(const Attempt& a) {
  return std::any_of(a.score->parts.begin(), a.score->parts.end(), [](const ScorePart& p) { return p.what != "pot"; });
}
bool position_met(const Attempt& a) {
  return !a.in_off && std::all_of(a.score->parts.begin(), a.score->parts.end(),
                                  [](const ScorePart& p) { return p.what == "pot" || p.met; });
}

// The measured quantities in which hits may differ from misses.
std::vector<Quantity> quantities_of(const std::vector<const Attempt*>& attempts, const std::vector<double>& headings) {
  std::vector<Quantity> out{{"pace", {}, {}},         {"direction", {}, {}},           {"side", {}, {}},
                            {"tip's height", {}, {}}, {"white placed across", {}, {}}, {"white placed along", {}, {}}};
  for (std::size_t i = 0; i < attempts.size(); ++i) {
    const Attempt& a = *attempts[i];
    const auto hit = is_hit(a);
    if (!hit) continue;
    const auto add = [&](std::size_t which, double value) {
      (*hit ? out[which].hits : out[which].misses).push_back(value);
    };
    if (a.strike) {
      if (a.strike->speed_told()) add(0, a.strike->speed);
      add(1, headings[i]);
      if (a.strike->right) add(2, *a.strike->right);
      if (a.strike->height) add(3, *a.strike->height);
      if (const auto off = a.off_group.find("white"); off != a.off_group.end()) {
        const Vec2 along = along_heading(a.strike->heading);
        add(4, cross(along, off->second));
        add(5, along.dot(off->second));
      }
    }
  }
  return out;
}

}  // namespace

std::optional<bool> is_hit(const Attempt& a) {
  if (!a.score || a.score->parts.empty()) return std::nullopt;
  return !a.in_off &&
         std::all_of(a.score->parts.begin(), a.score->parts.end(), [](const ScorePart& p) { return p.met; });
}

GroupSummary summarise(const Session& session, int group, const Setup* setup) {
  GroupSummary s;
  s.group = group;
  std::vector<const Attempt*> of;
  for (const Attempt& a : session.attempts)
    if (a.group == group) of.push_back(&a);
  s.played = static_cast<int>(of.size());

  std::vector<Vec2> places;
  std::vector<double> along, across, speeds, placed, headings(of.size(), 0.0), turned;
  Boxes boxes;
  bool boxed = false;
  double sine = 0, cosine = 0;
  for (const Attempt* a : of)
    if (a->strike) sine += std::sin(a->strike->heading), cosine += std::cos(a->strike->heading);
  const double middle = std::atan2(sine, cosine);  // mean direction
  for (std::size_t i = 0; i < of.size(); ++i) {
    const Attempt& a = *of[i];
    s.in_off += a.in_off ? 1 : 0;
    s.by_hand += a.ended == Ended::hand ? 1 : 0;
    if (a.pot_made) ++s.pots_of, s.pots += *a.pot_made ? 1 : 0;
    if (const auto hit = is_hit(a)) {
      ++s.judged;
      s.hits += *hit ? 1 : 0;
      if (a.pot_made && asks_for_position(a)) {
        boxed = true;
        const bool position = position_met(a);
        ++(*a.pot_made ? (position ? boxes.both : boxes.pot_only) : (position ? boxes.position_only : boxes.neither));
      }
    }
    constexpr double kKnown = 0.05;  // m: where it would have stopped, by a guess worse than that, is no resting place
    if (const auto rest = rest_of(a); rest && rest->place.u.maxCoeff() < kKnown) {
      places.push_back(rest->place.at);
      if (setup)
        if (const auto stop = stop_beside(a, *setup)) along.push_back(stop->along), across.push_back(stop->across);
    }
    if (a.strike) {
      if (a.strike->speed_told()) speeds.push_back(a.strike->speed);
      headings[i] = wrap_angle(a.strike->heading - middle);
      turned.push_back(headings[i]);
    }
    // The first placement is the mark itself.
    if (const auto off = a.off_group.find("white"); i > 0 && off != a.off_group.end())
      placed.push_back(off->second.norm());
    // What it took is known of a white that was followed to its rest or its fall.
    if (const auto white = a.balls.find("white");
        white != a.balls.end() && a.ended == Ended::rest && white->second.followed() && !white->second.told_until) {
      const auto cushions = motion::cushions_of(white->second);
      const auto known =
          std::find_if(s.routes.begin(), s.routes.end(), [&](const auto& r) { return r.first == cushions; });
      if (known == s.routes.end())
        s.routes.emplace_back(cushions, 1);
      else
        ++known->second;
    }
    if (a.follow_on) {
      ++s.follow_ons;
      s.next_of += a.follow_on->next_potted ? 1 : 0;
      s.next_potted += a.follow_on->next_potted.value_or(false) ? 1 : 0;
    }
  }
  std::stable_sort(s.routes.begin(), s.routes.end(), [](const auto& x, const auto& y) { return x.second > y.second; });
  s.pot_interval = wilson(s.pots, s.pots_of);
  s.hit_interval = wilson(s.hits, s.judged);
  if (boxed) s.boxes = boxes;
  if (setup && setup->goal && setup->goal->zone) s.mark = setup->goal->zone->middle();
  if (!places.empty()) {
    Vec2 mean = Vec2::Zero();
    for (const Vec2& p : places) mean += p / static_cast<double>(places.size());
    s.rest = spread_about(places, s.mark.value_or(mean));
  }
  s.along = mean_sd(along);
  s.across = mean_sd(across);
  s.pace = mean_sd(speeds);
  s.direction = mean_sd(turned);
  s.white_placed = placed.empty() ? 0 : median(placed);
  const auto quantities = quantities_of(of, headings);
  for (const Quantity& q : quantities)
    s.separation_tried +=
        static_cast<int>(q.hits.size()) >= kFewestEach && static_cast<int>(q.misses.size()) >= kFewestEach;
  s.separates = what_separates(quantities);
  return s;
}

std::string summary_json(std::span<const GroupSummary> groups) {
  Json all{{"groups", Json::array()}};
  for (const GroupSummary& s : groups) {
    Json j{{"group", s.group}, {"played", s.played}, {"judged", s.judged}};
    if (s.pots_of > 0) j["pots"] = {{"made", s.pots}, {"of", s.pots_of}, {"interval", kept(s.pot_interval)}};
    if (s.judged > 0) j["hits"] = {{"made", s.hits}, {"of", s.judged}, {"interval", kept(s.hit_interval)}};
    if (s.boxes)
      j["boxes"] = {{"pot_and_position", s.boxes->both},
                    {"pot_only", s.boxes->pot_only},
                    {"position_only", s.boxes->position_only},
                    {"neither", s.boxes->neither}};
    j["in_off"] = s.in_off;
    j["ended_by_hand"] = s.by_hand;
    if (s.follow_ons > 0) j["follow_on"] = {{"played", s.follow_ons}};
    if (s.next_of > 0) j["follow_on"].update({{"next_potted", s.next_potted}, {"next_of", s.next_of}});
    if (s.rest) {
      const Spread& r = *s.rest;
      j["rest"] = {{"n", r.n}, {"mean", kept(r.mean)}};
      if (s.mark) {
        j["rest"]["mark"] = kept(*s.mark);
        j["rest"]["median_from_mark"] = kept(r.median_from_mark);
      } else {
        j["rest"]["median_from_mean"] = kept(r.median_from_mark);
      }
      if (r.n > 1)
        j["rest"]["ellipse"] = {{"major", kept(r.major)}, {"minor", kept(r.minor)}, {"heading", kept(r.heading)}};
    }
    if (s.along.n > 0) j["along"] = write(s.along), j["across"] = write(s.across);
    if (s.pace.n > 0) j["pace"] = write(s.pace);
    if (s.direction.n > 0) j["direction"] = write(s.direction);
    if (s.white_placed > 0) j["white_placed_off"] = kept(s.white_placed);
    j["routes"] = Json::array();
    for (const auto& [cushions, count] : s.routes) j["routes"].push_back({{"cushions", cushions}, {"count", count}});
    if (s.separates)
      j["separates"] = {{"quantity", s.separates->quantity},
                        {"hits", write(s.separates->hits)},
                        {"misses", write(s.separates->misses)},
                        {"effect", kept(s.separates->effect.g)},
                        {"u", kept(s.separates->effect.u)}};
    all["groups"].push_back(std::move(j));
  }
  return all.dump();
}

}  // namespace baizetrace::practice
