#include "table/lookup.hpp"

#include <algorithm>
#include <filesystem>
#include <vector>

#include <fmt/ranges.h>

#include "base/files.hpp"

namespace baizetrace::table {
namespace fs = std::filesystem;

Result<std::string> calibration_file(const std::string& name_or_path, const std::string& folder,
                                     const std::string& ending) {
  if (name_or_path.find('/') != std::string::npos || name_or_path.ends_with(".toml")) {
    if (!fs::exists(name_or_path)) return fail("{}: no such file", name_or_path);
    return name_or_path;
  }
  const fs::path where = data_folder() / "calibration" / folder;
  const fs::path file = where / (name_or_path + ending);
  if (fs::exists(file)) return file.string();
  std::vector<std::string> known;
  std::error_code code;
  for (const auto& entry : fs::directory_iterator(where, code)) {
    const std::string name = entry.path().filename().string();
    if (name.ends_with(ending)) known.push_back(name.substr(0, name.size() - ending.size()));
  }
  std::sort(known.begin(), known.end());
  return fail("\"{}\": not found in {}, expected one of: {}; or a path", name_or_path, where.string(),
              fmt::join(known, ", "));
}

}  // namespace baizetrace::table
