// Reading and writing whole files. A file is replaced atomically or not at all.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>

#include "base/error.hpp"

namespace baizetrace {

// The whole file as text. Error: no such file, a folder, unreadable.
[[nodiscard]] Result<std::string> read_text(const std::filesystem::path& file);

// Writes beside `file` and renames: a reader sees the old file or the new one, never half of it.
// The folder must exist. On error nothing is left behind.
[[nodiscard]] Result<Done> write_atomically(const std::filesystem::path& file, std::string_view content);

// A file's content as bytes, and bytes as the content of a file.
[[nodiscard]] inline std::span<const std::uint8_t> as_bytes(std::string_view content) {
  return {reinterpret_cast<const std::uint8_t*>(content.data()), content.size()};
}
[[nodiscard]] inline std::string_view as_content(std::span<const std::uint8_t> bytes) {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

// Makes the folder and its parents.
[[nodiscard]] Result<Done> make_folder(const std::filesystem::path& folder);

// Where calibration/ and samples/ lie: $BAIZETRACE_DATA, else beside the program's source tree or installation.
// Set once at start by the command line.
void set_data_folder(const std::filesystem::path& folder);
[[nodiscard]] std::filesystem::path data_folder();

}  // namespace baizetrace
