// The full-size table of calibration/tables, found wherever the tests are run.
#pragma once

#include "base/files.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::test_support {

inline table::Table full_size() {
  set_data_folder(BAIZETRACE_SOURCE);
  return table::Table(*table::read_spec("full-size"));
}

inline table::BallSet snooker() {
  set_data_folder(BAIZETRACE_SOURCE);
  return *table::read_ball_set("snooker");
}

}  // namespace baizetrace::test_support
