#include "report/names.hpp"

#include <algorithm>

#include "table/table.hpp"

namespace baizetrace::report {

std::string ball_name(std::string_view ball) {
  std::string name(ball);
  std::replace(name.begin(), name.end(), '-', ' ');
  return name;
}

std::string post_name(std::string_view post) {
  const std::string pocket = table::trade_name_of_pocket(post);
  if (pocket != post) return pocket;
  const std::string cushion = table::trade_name_of_cushion(post);
  if (cushion != post) return cushion;
  return ball_name(post);
}

std::string touched(const Contact& c) {
  switch (c.kind) {
    case ContactKind::ball:
      return ball_name(c.with);
    case ContactKind::cushion:
      return table::trade_name_of_cushion(c.with);
    case ContactKind::jaw:
      return "jaw of the " + table::trade_name_of_pocket(c.with);
    case ContactKind::pocket:
      return table::trade_name_of_pocket(c.with);
  }
  return {};
}

}  // namespace baizetrace::report
