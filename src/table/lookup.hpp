// Where a calibration file is found: by path, or by name in the data folder.
#pragma once

#include <string>

#include "base/error.hpp"

namespace baizetrace::table {

// `name_or_path` "full-size" -> <data>/calibration/<folder>/full-size<ending>. A path is taken as it is.
// Error: no such file; names what is there.
[[nodiscard]] Result<std::string> calibration_file(const std::string& name_or_path, const std::string& folder,
                                                   const std::string& ending);

}  // namespace baizetrace::table
