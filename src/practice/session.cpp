#include "practice/session.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "base/files.hpp"

namespace baizetrace::practice {
namespace {
using Json = nlohmann::ordered_json;

constexpr const char* kFormat = "baizetrace/session-1";
constexpr double kLeast = 1e7;  // numbers are kept to 1e-7 (0.1 um, 0.1 us): far below what is measured

double kept(double v) { return std::round(v * kLeast) / kLeast; }
Json kept(const Vec2& v) { return Json::array({kept(v.x()), kept(v.y())}); }

constexpr std::pair<ContactKind, const char*> kKinds[] = {{ContactKind::ball, word_of(ContactKind::ball)},
                                                          {ContactKind::cushion, word_of(ContactKind::cushion)},
                                                          {ContactKind::jaw, word_of(ContactKind::jaw)},
                                                          {ContactKind::pocket, word_of(ContactKind::pocket)}};
constexpr std::pair<Ended, const char*> kEnds[] = {{Ended::rest, "rest"}, {Ended::hand, "hand"}, {Ended::clip, "clip"}};

template <class T, std::size_t N>
const char* word_for(const std::pair<T, const char*> (&words)[N], T value) {
  for (const auto& [v, w] : words)
    if (v == value) return w;
  return words[0].second;
}

Json write(const Place& p) {
  Json j{{"at", kept(p.at)}};
  if (p.u.maxCoeff() > 0) j["u"] = kept(p.u);
  return j;
}

Json write(const std::vector<PathRow>& rows) {
  Json j = Json::array();
  for (const PathRow& r : rows) j.push_back({kept(r.time), kept(r.at.x()), kept(r.at.y())});
  return j;
}

// Spans of rows that no sighting stands behind: [first, last].
Json unseen_of(const std::vector<PathRow>& rows) {
  Json j = Json::array();
  for (std::size_t i = 0; i < rows.size(); ++i) {
    if (rows[i].seen) continue;
    if (i > 0 && !rows[i - 1].seen)
      j.back()[1] = kept(rows[i].time);
    else
      j.push_back({kept(rows[i].time), kept(rows[i].time)});
  }
  return j;
}

Json write(const Contact& c) {
  Json j{{"time", kept(c.time)}};
  if (c.u_time > 0) j["u_time"] = kept(c.u_time);
  j["kind"] = word_for(kKinds, c.kind);
  j["with"] = c.with;
  j["at"] = kept(c.at);
  if (c.u.maxCoeff() > 0) j["u"] = kept(c.u);
  j["speed_in"] = kept(c.speed_in);
  j["heading_in"] = kept(c.heading_in);
  if (c.u_speed_in > 0) j["u_speed_in"] = kept(c.u_speed_in);
  if (c.u_heading_in > 0) j["u_heading_in"] = kept(c.u_heading_in);
  if (c.kind != ContactKind::pocket) {
    j["speed_out"] = kept(c.speed_out);
    j["heading_out"] = kept(c.heading_out);
  }
  j["inferred"] = c.inferred;
  return j;
}

Json write(const std::vector<Contact>& contacts) {
  Json j = Json::array();
  for (const Contact& c : contacts) j.push_back(write(c));
  return j;
}

Json write(const ComputedPath& p) {
  Json j{{"path", write(p.path)}, {"contacts", write(p.contacts)}};
  if (p.rest) j["rest"] = kept(*p.rest);
  return j;
}

template <class M>
auto parts_of(M& m) {
  return std::array{std::pair("placing", &m.placing), std::pair("aim", &m.aim),
                    std::pair("pace", &m.pace),       std::pair("side", &m.side),
                    std::pair("height", &m.height),   std::pair("left_over", &m.left_over)};
}

// The pose is kept whole: rounded rotations are no rotations.
Json write(const RigMove& m) {
  Json rows = Json::array();
  for (int r = 0; r < 3; ++r) rows.push_back({m.R(r, 0), m.R(r, 1), m.R(r, 2)});
  Json j{{"from", kept(m.from)},
         {"to", kept(m.to)},
         {"pixels", kept(m.pixels)},
         {"metres", kept(m.metres)},
         {"camera_from_table", {{"R", rows}, {"t", {m.t.x(), m.t.y(), m.t.z()}}}}};
  if (m.clip > 0) j["clip"] = m.clip;
  return j;
}

RigMove read_move(const Json& j) {
  RigMove m;
  m.from = j.at("from").get<double>();
  m.to = j.at("to").get<double>();
  m.pixels = j.at("pixels").get<double>();
  m.metres = j.at("metres").get<double>();
  m.clip = j.value("clip", 0);
  const Json& pose = j.at("camera_from_table");
  for (std::size_t r = 0; r < 3; ++r) {
    for (std::size_t c = 0; c < 3; ++c)
      m.R(static_cast<int>(r), static_cast<int>(c)) = pose.at("R").at(r).at(c).get<double>();
    m.t[static_cast<int>(r)] = pose.at("t").at(r).get<double>();
  }
  return m;
}

Json write(const Attempt& a) {
  Json j{{"number", a.number}, {"strike_time", kept(a.strike_time)}};
  if (a.rest_time) j["rest_time"] = kept(*a.rest_time);
  j["ended"] = word_for(kEnds, a.ended);
  for (const auto& [key, places] : {std::pair("before", &a.before), std::pair("after", &a.after)}) {
    j[key] = Json::object();
    for (const auto& [ball, place] : *places) j[key][ball] = write(place);
  }
  j["balls"] = Json::object();
  for (const auto& [ball, path] : a.balls) {
    Json b{{"path", write(path.rows)}, {"contacts", write(path.contacts)}};
    if (path.rest) b["rest_time"] = kept(path.rest_time);
    if (path.rms > 0) b["rms"] = kept(path.rms);
    if (path.told_until) b["told_until"] = kept(*path.told_until);
    if (const Json unseen = unseen_of(path.rows); !unseen.empty()) b["unseen"] = unseen;
    j["balls"][ball] = std::move(b);
  }
  const auto potted = [](const Potted& p, bool with_ball) {
    Json e = Json::object();
    if (with_ball) e["ball"] = p.ball;
    e["pocket"] = p.pocket;
    e["time"] = kept(p.time);
    return e;
  };
  j["potted"] = Json::array();
  for (const Potted& p : a.potted) j["potted"].push_back(potted(p, true));
  j["in_off"] = a.in_off ? potted(*a.in_off, false) : Json(nullptr);
  if (a.clip > 0) j["clip"] = a.clip;
  if (a.group > 0) j["group"] = a.group;
  if (a.pot_made) {
    Json p{{"made", *a.pot_made}};
    if (a.pot_line.at_mouth) p["at_mouth"] = kept(*a.pot_line.at_mouth);
    if (a.pot_line.thick_or_thin) p["thick_or_thin"] = *a.pot_line.thick_or_thin;
    p["jaw"] = a.pot_line.jaw ? Json(*a.pot_line.jaw) : Json(nullptr);
    j["pot"] = std::move(p);
  }
  if (a.rest_extrapolated) j["rest_extrapolated"] = write(*a.rest_extrapolated);
  if (a.follow_on) {
    Json f{{"time", kept(a.follow_on->time)}, {"potted", Json::array()}};
    for (const Potted& p : a.follow_on->potted) f["potted"].push_back(potted(p, true));
    if (!a.follow_on->unseen.empty()) f["unseen"] = a.follow_on->unseen;
    if (a.follow_on->next_potted) f["next_potted"] = *a.follow_on->next_potted;
    j["follow_on"] = std::move(f);
  }
  j["gates"] = Json::array();
  for (const GatePassed& g : a.gates)
    j["gates"].push_back(
        {{"between", {g.a, g.b}}, {"time", kept(g.time)}, {"at", kept(g.at)}, {"clearance", kept(g.clearance)}});
  j["nearest_pockets"] = Json::array();
  for (const PocketPassed& p : a.nearest_pockets)
    j["nearest_pockets"].push_back({{"pocket", p.pocket}, {"distance", kept(p.distance)}, {"time", kept(p.time)}});
  if (!a.placing_error.empty()) {
    j["placing_error"] = Json::object();
    for (const auto& [ball, error] : a.placing_error) j["placing_error"][ball] = kept(error);
  }
  if (!a.off_group.empty()) {
    j["off_group_mark"] = Json::object();
    for (const auto& [ball, error] : a.off_group) j["off_group_mark"][ball] = kept(error);
  }
  if (a.strike) {
    Json s{{"speed", kept(a.strike->speed)}, {"heading", kept(a.strike->heading)}};
    if (a.strike->right) s["right"] = kept(*a.strike->right);
    if (a.strike->height) s["height"] = kept(*a.strike->height);
    if (a.strike->elevation) s["elevation"] = kept(*a.strike->elevation);
    for (const auto& [key, bound] : {std::pair("right_at_least", &a.strike->right_at_least),
                                     {"right_at_most", &a.strike->right_at_most},
                                     {"height_at_least", &a.strike->height_at_least},
                                     {"height_at_most", &a.strike->height_at_most}})
      if (*bound) s[key] = kept(**bound);
    s["u"] = Json::object();
    for (const auto& [what, u] : a.strike->u) s["u"][what] = kept(u);
    for (const auto& [what, ends] : a.strike->interval) s["interval"][what] = {kept(ends[0]), kept(ends[1])};
    if (!a.strike->from.empty()) s["from"] = a.strike->from;
    j["strike"] = std::move(s);
  }
  if (a.prediction) {
    j["prediction"] = write(*a.prediction);
    j["prediction"]["with"] = a.prediction_label;
  }
  if (a.comparison) {
    Json c = Json::object();
    if (a.comparison->first_contact_off) c["first_contact_off"] = kept(*a.comparison->first_contact_off);
    if (a.comparison->rest_off) c["rest_off"] = kept(*a.comparison->rest_off);
    if (a.comparison->worst_off) c["worst_off"] = kept(*a.comparison->worst_off);
    for (const auto& [with, off] : a.comparison->at_contacts)
      c["at_contacts"].push_back({{"with", with}, {"off", kept(off)}});
    if (const auto& p = a.comparison->parts) c["parts"] = {{"time", kept(p->time)}, {"at", kept(p->at)}};
    j["comparison"] = std::move(c);
  }
  if (a.meant) j["meant"] = write(*a.meant);
  if (a.explained) j["explained"] = write(*a.explained);
  if (a.miss) {
    const Miss& m = *a.miss;
    Json k = Json::object();
    for (const auto& [name, part] : parts_of(m)) k[name] = kept(*part);
    k["u"] = Json::object();
    for (const auto& [what, u] : m.u) k["u"][what] = kept(u);
    k["not_told"] = m.not_told;
    if (m.aim_at_ball) k["aim_at_ball"] = kept(*m.aim_at_ball);
    if (m.u_aim_at_ball) k["u_aim_at_ball"] = kept(*m.u_aim_at_ball);
    k["sentence"] = m.sentence;
    j["miss"] = std::move(k);
  }
  if (!a.not_explained.empty()) j["not_explained"] = a.not_explained;
  if (a.leave) {
    const Leave& l = *a.leave;
    j["leave"] = {{"ball", l.ball},
                  {"into", l.into},
                  {"cut", kept(l.cut)},
                  {"fullness", kept(l.fullness)},
                  {"distance", kept(l.distance)},
                  {"clear", l.clear},
                  {"hampered_by", nullptr}};
    if (!l.side.empty()) j["leave"]["side"] = l.side;
    if (l.blocked_by) j["leave"]["blocked_by"] = *l.blocked_by;
    if (l.hampered_by) j["leave"]["hampered_by"] = *l.hampered_by;
  }
  if (a.score) {
    Json parts = Json::array();
    for (const ScorePart& p : a.score->parts) parts.push_back({{"what", p.what}, {"met", p.met}, {"note", p.note}});
    j["score"] = {{"points", a.score->points}, {"of", a.score->of}, {"parts", std::move(parts)}};
  }
  if (!a.not_judged.empty()) j["not_judged"] = a.not_judged;
  return j;
}

Json write(const Group& g) {
  Json j{{"number", g.number}, {"marks", Json::object()}};
  for (const auto& [ball, at] : g.marks) j["marks"][ball] = kept(at);
  if (g.setup) j["setup"] = {{"file", g.setup->first}, {"title", g.setup->second}};
  if (!g.off_setup.empty()) {
    j["off_setup"] = Json::object();
    for (const auto& [ball, off] : g.off_setup) j["off_setup"][ball] = kept(off);
  }
  if (!g.note.empty()) j["note"] = g.note;
  return j;
}

// ---- reading back ----

template <class T, std::size_t N>
T value_for(const std::pair<T, const char*> (&words)[N], const std::string& word) {
  for (const auto& [v, w] : words)
    if (word == w) return v;
  throw std::runtime_error(fmt::format("\"{}\" is not one of the known words", word));
}

Vec2 read_point(const Json& j) { return {j.at(0).get<double>(), j.at(1).get<double>()}; }

Place read_place(const Json& j) {
  Place p{read_point(j.at("at")), Vec2::Zero()};
  if (j.contains("u")) p.u = read_point(j["u"]);
  return p;
}

std::vector<PathRow> read_rows(const Json& j) {
  std::vector<PathRow> rows;
  for (const Json& r : j) rows.push_back({r.at(0).get<double>(), {r.at(1).get<double>(), r.at(2).get<double>()}, true});
  return rows;
}

std::vector<Contact> read_contacts(const Json& j) {
  std::vector<Contact> out;
  for (const Json& r : j) {
    Contact c;
    c.time = r.at("time").get<double>();
    c.u_time = r.value("u_time", 0.0);
    c.kind = value_for(kKinds, r.at("kind").get<std::string>());
    c.with = r.at("with").get<std::string>();
    c.at = read_point(r.at("at"));
    if (r.contains("u")) c.u = read_point(r["u"]);
    c.speed_in = r.value("speed_in", 0.0);
    c.speed_out = r.value("speed_out", 0.0);
    c.heading_in = r.value("heading_in", 0.0);
    c.heading_out = r.value("heading_out", 0.0);
    c.u_speed_in = r.value("u_speed_in", 0.0);
    c.u_heading_in = r.value("u_heading_in", 0.0);
    c.inferred = r.value("inferred", false);
    out.push_back(std::move(c));
  }
  return out;
}

ComputedPath read_computed(const Json& p) {
  ComputedPath path{read_rows(p.at("path")), read_contacts(p.at("contacts")), std::nullopt};
  if (p.contains("rest")) path.rest = read_point(p["rest"]);
  return path;
}

Attempt read_attempt(const Json& j) {
  Attempt a;
  a.number = j.at("number").get<int>();
  a.strike_time = j.at("strike_time").get<double>();
  if (j.contains("rest_time")) a.rest_time = j["rest_time"].get<double>();
  a.ended = value_for(kEnds, j.at("ended").get<std::string>());
  for (const auto& [ball, place] : j.at("before").items()) a.before[ball] = read_place(place);
  for (const auto& [ball, place] : j.at("after").items()) a.after[ball] = read_place(place);
  for (const auto& [ball, b] : j.at("balls").items()) {
    BallPath path;
    path.ball = ball;
    path.rows = read_rows(b.at("path"));
    path.contacts = read_contacts(b.at("contacts"));
    if (b.contains("unseen"))
      for (const Json& span : b["unseen"])
        for (PathRow& r : path.rows)
          if (r.time >= span.at(0).get<double>() && r.time <= span.at(1).get<double>()) r.seen = false;
    path.rms = b.value("rms", 0.0);
    if (b.contains("told_until")) path.told_until = b["told_until"].get<double>();
    if (b.contains("rest_time")) path.rest_time = b["rest_time"].get<double>();
    if (const auto it = a.after.find(ball); it != a.after.end()) path.rest = it->second;
    for (const Contact& c : path.contacts)
      if (c.kind == ContactKind::pocket) {
        path.pocket = c.with;
        path.pocket_time = c.time;
      }
    a.balls[ball] = std::move(path);
  }
  for (const Json& p : j.at("potted"))
    a.potted.push_back(
        {p.at("ball").get<std::string>(), p.at("pocket").get<std::string>(), p.at("time").get<double>()});
  if (const Json& p = j.at("in_off"); !p.is_null())
    a.in_off = Potted{"white", p.at("pocket").get<std::string>(), p.at("time").get<double>()};
  a.clip = j.value("clip", 0);
  a.group = j.value("group", 0);
  if (j.contains("pot")) {
    const Json& p = j["pot"];
    a.pot_made = p.at("made").get<bool>();
    if (p.contains("at_mouth")) a.pot_line.at_mouth = p["at_mouth"].get<double>();
    if (p.contains("thick_or_thin")) a.pot_line.thick_or_thin = p["thick_or_thin"].get<std::string>();
    if (p.contains("jaw") && !p["jaw"].is_null()) a.pot_line.jaw = p["jaw"].get<std::string>();
  }
  if (j.contains("rest_extrapolated")) a.rest_extrapolated = read_place(j["rest_extrapolated"]);
  if (j.contains("follow_on")) {
    FollowOn f;
    f.time = j["follow_on"].at("time").get<double>();
    for (const Json& p : j["follow_on"].at("potted"))
      f.potted.push_back(
          {p.at("ball").get<std::string>(), p.at("pocket").get<std::string>(), p.at("time").get<double>()});
    if (j["follow_on"].contains("unseen")) f.unseen = j["follow_on"]["unseen"].get<std::vector<std::string>>();
    if (j["follow_on"].contains("next_potted")) f.next_potted = j["follow_on"]["next_potted"].get<bool>();
    a.follow_on = std::move(f);
  }
  for (const Json& g : j.at("gates"))
    a.gates.push_back({g.at("between").at(0).get<std::string>(), g.at("between").at(1).get<std::string>(),
                       g.at("time").get<double>(), read_point(g.at("at")), g.at("clearance").get<double>()});
  for (const Json& p : j.at("nearest_pockets"))
    a.nearest_pockets.push_back(
        {p.at("pocket").get<std::string>(), p.at("distance").get<double>(), p.at("time").get<double>()});
  if (j.contains("placing_error"))
    for (const auto& [ball, error] : j["placing_error"].items()) a.placing_error[ball] = read_point(error);
  if (j.contains("off_group_mark"))
    for (const auto& [ball, error] : j["off_group_mark"].items()) a.off_group[ball] = read_point(error);
  if (j.contains("strike")) {
    const Json& s = j["strike"];
    Strike strike;
    strike.speed = s.at("speed").get<double>();
    strike.heading = s.at("heading").get<double>();
    if (s.contains("right")) strike.right = s["right"].get<double>();
    if (s.contains("height")) strike.height = s["height"].get<double>();
    if (s.contains("elevation")) strike.elevation = s["elevation"].get<double>();
    for (const auto& [key, bound] : {std::pair("right_at_least", &strike.right_at_least),
                                     {"right_at_most", &strike.right_at_most},
                                     {"height_at_least", &strike.height_at_least},
                                     {"height_at_most", &strike.height_at_most}})
      if (s.contains(key)) *bound = s[key].get<double>();
    if (s.contains("u"))
      for (const auto& [what, u] : s["u"].items()) strike.u[what] = u.get<double>();
    if (s.contains("interval"))
      for (const auto& [what, ends] : s["interval"].items())
        strike.interval[what] = {ends.at(0).get<double>(), ends.at(1).get<double>()};
    strike.from = s.value("from", "");
    a.strike = strike;
  }
  if (j.contains("prediction")) {
    const Json& p = j["prediction"];
    a.prediction = read_computed(p);
    a.prediction_label = p.value("with", "");
  }
  if (j.contains("comparison")) {
    const Json& c = j["comparison"];
    Comparison comparison;
    if (c.contains("first_contact_off")) comparison.first_contact_off = c["first_contact_off"].get<double>();
    if (c.contains("rest_off")) comparison.rest_off = read_point(c["rest_off"]);
    if (c.contains("worst_off")) comparison.worst_off = c["worst_off"].get<double>();
    if (c.contains("at_contacts"))
      for (const Json& k : c["at_contacts"])
        comparison.at_contacts.emplace_back(k.at("with").get<std::string>(), k.at("off").get<double>());
    if (c.contains("parts"))
      comparison.parts = PathRow{c["parts"].at("time").get<double>(), read_point(c["parts"].at("at")), true};
    a.comparison = comparison;
  }
  for (const auto& [key, path] : {std::pair("meant", &a.meant), std::pair("explained", &a.explained)})
    if (j.contains(key)) *path = read_computed(j[key]);
  if (j.contains("miss")) {
    const Json& k = j["miss"];
    Miss m;
    for (const auto& [name, part] : parts_of(m)) *part = read_point(k.at(name));
    if (k.contains("u"))
      for (const auto& [what, u] : k["u"].items()) m.u[what] = u.get<double>();
    if (k.contains("not_told")) m.not_told = k["not_told"].get<std::vector<std::string>>();
    if (k.contains("aim_at_ball")) m.aim_at_ball = k["aim_at_ball"].get<double>();
    if (k.contains("u_aim_at_ball")) m.u_aim_at_ball = k["u_aim_at_ball"].get<double>();
    m.sentence = k.value("sentence", "");
    a.miss = std::move(m);
  }
  a.not_explained = j.value("not_explained", "");
  a.not_judged = j.value("not_judged", "");
  if (j.contains("leave")) {
    const Json& l = j["leave"];
    Leave leave{l.at("ball").get<std::string>(),
                l.at("into").get<std::string>(),
                l.at("cut").get<double>(),
                l.at("fullness").get<double>(),
                l.at("distance").get<double>(),
                l.at("clear").get<bool>(),
                std::nullopt};
    if (l.contains("hampered_by") && !l["hampered_by"].is_null())
      leave.hampered_by = l["hampered_by"].get<std::string>();
    if (l.contains("blocked_by")) leave.blocked_by = l["blocked_by"].get<std::string>();
    leave.side = l.value("side", "");
    a.leave = leave;
  }
  if (j.contains("score")) {
    Score score{j["score"].at("points").get<double>(), j["score"].at("of").get<double>(), {}};
    for (const Json& p : j["score"].at("parts"))
      score.parts.push_back({p.at("what").get<std::string>(), p.at("met").get<bool>(), p.value("note", "")});
    a.score = std::move(score);
  }
  return a;
}

ClipInfo read_clip(const Json& j) {
  return {j.at("file").get<std::string>(), j.at("width").get<int>(), j.at("height").get<int>(),
          j.at("frames").get<int>(), j.at("duration").get<double>()};
}

Group read_group(const Json& j) {
  Group g;
  g.number = j.at("number").get<int>();
  for (const auto& [ball, at] : j.at("marks").items()) g.marks[ball] = read_point(at);
  if (j.contains("setup"))
    g.setup = {j["setup"].at("file").get<std::string>(), j["setup"].at("title").get<std::string>()};
  if (j.contains("off_setup"))
    for (const auto& [ball, at] : j["off_setup"].items()) g.off_setup[ball] = read_point(at);
  g.note = j.value("note", "");
  return g;
}

Session read(const Json& j) {
  Session s;
  s.complete = j.at("complete").get<bool>();
  s.measured_until = j.at("measured_until").get<double>();
  for (const Json& w : j.at("warnings"))
    s.warnings.push_back({w.at("time").get<double>(), w.at("what").get<std::string>(), w.value("clip", 0)});
  for (const Json& r : j.at("refused"))
    s.refused.push_back(
        {r.at("from").get<double>(), r.at("to").get<double>(), r.at("why").get<std::string>(), r.value("clip", 0)});
  s.clip = read_clip(j.at("clip"));
  if (j.contains("more_clips"))
    for (const Json& c : j["more_clips"]) s.more_clips.push_back(read_clip(c));
  const Json& rig = j.at("rig");
  s.rig.file = rig.at("file").get<std::string>();
  s.rig.rms_pixels = rig.value("rms_pixels", 0.0);
  s.rig.rms = rig.value("rms", 0.0);
  s.rig.readout = rig.value("readout", 0.0);
  s.rig.u_readout = rig.value("u_readout", 0.0);
  if (rig.contains("table")) {
    s.rig.table = rig["table"].at("name").get<std::string>();
    s.rig.half_width = rig["table"].at("half_width").get<double>();
    s.rig.half_length = rig["table"].at("half_length").get<double>();
  }
  if (rig.contains("spots"))
    for (const auto& [name, at] : rig["spots"].items()) s.rig.spots[name] = read_point(at);
  if (rig.contains("moves"))
    for (const Json& m : rig["moves"]) s.rig.moves.push_back(read_move(m));
  if (j.contains("setup"))
    s.setup = {j["setup"].at("file").get<std::string>(), j["setup"].at("title").get<std::string>()};
  if (j.contains("conditions"))
    for (const auto& [name, c] : j["conditions"].items())
      s.conditions[name] = {c.at("value").get<double>(), c.at("u").get<double>(),
                            c.at("from").get<std::string>() == "measured"};
  if (j.contains("groups"))
    for (const Json& g : j["groups"]) s.groups.push_back(read_group(g));
  for (const Json& a : j.at("attempts")) s.attempts.push_back(read_attempt(a));
  if (j.contains("summary")) s.summary = j["summary"].dump();
  return s;
}

}  // namespace

std::string session_json(const Session& s) {
  Json j{{"format", kFormat}, {"complete", s.complete}, {"measured_until", kept(s.measured_until)}};
  j["warnings"] = Json::array();
  for (const Warning& w : s.warnings) {
    j["warnings"].push_back({{"time", kept(w.time)}, {"what", w.what}});
    if (w.clip > 0) j["warnings"].back()["clip"] = w.clip;
  }
  j["refused"] = Json::array();
  for (const Refused& r : s.refused) {
    j["refused"].push_back({{"from", kept(r.from)}, {"to", kept(r.to)}, {"why", r.why}});
    if (r.clip > 0) j["refused"].back()["clip"] = r.clip;
  }
  const auto clip = [](const ClipInfo& c) {
    return Json{{"file", c.file},
                {"width", c.width},
                {"height", c.height},
                {"frames", c.frames},
                {"duration", kept(c.duration)}};
  };
  j["clip"] = clip(s.clip);
  for (const ClipInfo& c : s.more_clips) j["more_clips"].push_back(clip(c));
  j["rig"] = {
      {"file", s.rig.file},
      {"rms_pixels", kept(s.rig.rms_pixels)},
      {"rms", kept(s.rig.rms)},
      {"readout", kept(s.rig.readout)},
      {"u_readout", kept(s.rig.u_readout)},
      {"table",
       {{"name", s.rig.table}, {"half_width", kept(s.rig.half_width)}, {"half_length", kept(s.rig.half_length)}}}};
  j["rig"]["spots"] = Json::object();
  for (const auto& [name, at] : s.rig.spots) j["rig"]["spots"][name] = kept(at);
  if (!s.rig.moves.empty()) j["rig"]["moves"] = Json::array();
  for (const RigMove& m : s.rig.moves) j["rig"]["moves"].push_back(write(m));
  if (s.setup) j["setup"] = {{"file", s.setup->first}, {"title", s.setup->second}};
  j["conditions"] = Json::object();
  for (const auto& [name, c] : s.conditions)
    j["conditions"][name] = {{"value", kept(c.value)}, {"u", kept(c.u)}, {"from", c.measured ? "measured" : "assumed"}};
  j["groups"] = Json::array();
  for (const Group& g : s.groups) j["groups"].push_back(write(g));
  j["attempts"] = Json::array();
  for (const Attempt& a : s.attempts) j["attempts"].push_back(write(a));
  j["summary"] = s.summary.empty() ? Json::object() : Json::parse(s.summary);
  return j.dump() + "\n";
}

Result<Session> read_session(const std::string& file) {
  const auto text = read_text(file);
  if (!text) return pass_on(text);
  try {
    const Json j = Json::parse(*text);
    if (!j.is_object() || j.value("format", "") != kFormat)
      return fail("{}: is not a session, expected \"format\": \"{}\"", file, kFormat);
    return read(j);
  } catch (const std::exception& e) {
    return fail("{}: cannot be read as a session: {}", file, e.what());
  }
}

}  // namespace baizetrace::practice
