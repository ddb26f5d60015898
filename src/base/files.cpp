#include "base/files.hpp"

#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <sstream>

namespace baizetrace {
namespace fs = std::filesystem;

namespace {
fs::path& data_folder_slot() {
  static fs::path folder;
  return folder;
}
}  // namespace

Result<std::string> read_text(const fs::path& file) {
  std::error_code code;
  const fs::file_status status = fs::status(file, code);
  if (!fs::exists(status)) return fail("{}: no such file", file.string());
  if (fs::is_directory(status)) return fail("{}: is a folder, expected a file", file.string());
  std::ifstream in(file, std::ios::binary);
  if (!in) return fail("{}: cannot be read ({})", file.string(), std::strerror(errno));
  std::ostringstream text;
  text << in.rdbuf();
  if (in.bad()) return fail("{}: cannot be read to its end ({})", file.string(), std::strerror(errno));
  return std::move(text).str();
}

Result<Done> write_atomically(const fs::path& file, std::string_view content) {
  const fs::path part = file.string() + fmt::format(".part-{}", ::getpid());
  std::FILE* out = std::fopen(part.c_str(), "wb");
  if (!out) return fail("{}: cannot be written ({})", file.string(), std::strerror(errno));
  const bool written = std::fwrite(content.data(), 1, content.size(), out) == content.size() && std::fflush(out) == 0 &&
                       ::fsync(::fileno(out)) == 0;
  const int why = errno;
  const bool closed = std::fclose(out) == 0;
  if (written && closed && std::rename(part.c_str(), file.c_str()) == 0) return Done{};
  const int reason = written && closed ? errno : why;
  std::remove(part.c_str());
  return fail("{}: cannot be written ({})", file.string(), std::strerror(reason));
}

Result<Done> make_folder(const fs::path& folder) {
  std::error_code code;
  fs::create_directories(folder, code);
  if (code || !fs::is_directory(folder))
    return fail("{}: cannot be made a folder ({})", folder.string(), code ? code.message() : "a file is in the way");
  return Done{};
}

void set_data_folder(const fs::path& folder) { data_folder_slot() = folder; }

fs::path data_folder() {
  if (const char* set = std::getenv("BAIZETRACE_DATA"); set && *set) return set;
  return data_folder_slot();
}

}  // namespace baizetrace
