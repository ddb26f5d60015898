#include "table/ball_set.hpp"

#include <cmath>
#include <filesystem>

#include "base/toml.hpp"
#include "table/lookup.hpp"

namespace baizetrace::table {

std::optional<std::size_t> BallSet::kind_of(std::string_view ball) const {
  for (std::size_t i = 0; i < kinds.size(); ++i) {
    const BallKind& k = kinds[i];
    if (k.count == 1) {
      if (ball == k.name) return i;
    } else if (ball.size() > k.name.size() + 1 && ball.starts_with(k.name) && ball[k.name.size()] == '-') {
      const std::string_view number = ball.substr(k.name.size() + 1);
      if (number.find_first_not_of("0123456789") == std::string_view::npos && number[0] != '0') return i;
    }
  }
  return std::nullopt;
}

double BallSet::radius_of(std::string_view ball) const { return kinds[kind_of(ball).value_or(0)].radius; }

std::vector<std::string> BallSet::kind_names() const {
  std::vector<std::string> out;
  for (const BallKind& k : kinds) out.push_back(k.name);
  return out;
}

Result<BallSet> read_ball_set(const std::string& name_or_path) {
  const auto file = calibration_file(name_or_path, "balls", ".balls.toml");
  if (!file) return pass_on(file);
  auto toml = TomlTable::read(*file, "balls");
  if (!toml) return pass_on(toml);
  BallSet set;
  set.name = std::filesystem::path(*file).stem().stem().string();
  const double radius = toml->number("radius");
  const double mass = toml->number("mass");
  for (TomlTable& t : toml->tables("kinds")) {
    BallKind k;
    k.name = t.text("name");
    k.radius = t.number("radius", radius);
    k.mass = t.number("mass", mass);
    const double count = t.number("count", 1);
    k.home = t.maybe_text("home").value_or("");
    const auto colour = t.maybe_numbers("srgb");
    if (!colour || colour->size() != 3) {
      t.fault("srgb", "expected [red, green, blue], 0 to 255");
    } else {
      k.srgb = {(*colour)[0], (*colour)[1], (*colour)[2]};
      if (k.srgb.minCoeff() < 0 || k.srgb.maxCoeff() > 255) t.fault("srgb", "expected values 0 to 255");
    }
    if (!(k.radius >= 0.01 && k.radius <= 0.05))
      t.fault("radius", fmt::format("is {}, expected 0.01 to 0.05 m", k.radius));
    if (!(k.mass >= 0.02 && k.mass <= 0.5)) t.fault("mass", fmt::format("is {}, expected 0.02 to 0.5 kg", k.mass));
    if (count >= 1 && count <= 22 && count == std::floor(count))
      k.count = static_cast<int>(count);
    else
      t.fault("count", fmt::format("is {}, expected a whole number, 1 to 22", count));
    set.kinds.push_back(std::move(k));
  }
  if (set.kinds.empty() || set.kinds[0].name != "white" || set.kinds[0].count != 1)
    toml->fault("kinds", "the first kind is the cue ball, expected name = \"white\"");
  if (auto done = toml->finish(); !done) return pass_on(done);
  return set;
}

}  // namespace baizetrace::table
