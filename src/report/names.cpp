#include "report/names.hpp"

#include "table/table.hpp"

namespace baizetrace::report {

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
