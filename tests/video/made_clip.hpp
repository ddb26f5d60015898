// Small clips made by the ffmpeg program, and its own decoding of them as the outside reference.
#pragma once

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <string>
#include <vector>

namespace baizetrace::video {

using Bytes = std::vector<std::uint8_t>;

// A folder of this test's own, gone at its end.
class Folder {
 public:
  Folder() {
    std::string name = (std::filesystem::temp_directory_path() / "baizetrace-video-XXXXXX").string();
    path_ = mkdtemp(name.data());
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

// What a shell command writes on standard output; fails the test when the command does.
inline Bytes output_of(const std::string& command) {
  Bytes out;
  std::FILE* pipe = popen(command.c_str(), "r");
  if (!pipe) {
    ADD_FAILURE() << command;
    return out;
  }
  std::array<std::uint8_t, 65536> part{};
  while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe))
    out.insert(out.end(), part.begin(), part.begin() + static_cast<std::ptrdiff_t>(n));
  const int status = pclose(pipe);
  EXPECT_EQ(status, 0) << command;
  return out;
}

// ffmpeg -y ARGUMENTS FILE; made in the test's folder.
inline void make(const std::string& arguments, const std::string& file) {
  output_of("ffmpeg -nostdin -v error -y " + arguments + " '" + file + "' 2>&1");
}

inline bool ffmpeg_has(const std::string& encoder) {
  return std::system(
             ("ffmpeg -nostdin -v error -hide_banner -encoders 2>/dev/null | grep -q ' " + encoder + " '").c_str()) ==
         0;
}

#define NEEDS_ENCODER(name) \
  if (!ffmpeg_has(name)) GTEST_SKIP() << "the ffmpeg program here has no encoder " << (name)

inline Bytes read_bytes(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

inline void write_bytes(const std::string& file, const Bytes& bytes) {
  std::ofstream(file, std::ios::binary)
      .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

// Timestamps of the shown frames as the ffprobe program gives them, s, less the first.
inline std::vector<double> reference_times(const std::string& file) {
  const Bytes text = output_of(
      "ffprobe -v error -select_streams v:0 -show_entries frame=best_effort_timestamp_time -of csv=p=0 '" + file + "'");
  std::istringstream lines(std::string(text.begin(), text.end()));
  std::vector<double> out;
  for (std::string line; std::getline(lines, line);)
    if (!line.empty()) out.push_back(std::stod(line));
  const double first = out.empty() ? 0 : out.front();
  for (double& t : out) t -= first;
  return out;
}

// All shown frames as the ffmpeg program decodes (and turns) them, raw in `format`.
inline Bytes reference_pixels(const std::string& file, const std::string& format) {
  return output_of("ffmpeg -nostdin -v error -threads 1 -i '" + file + "' -map 0:v:0 -fps_mode passthrough -pix_fmt " +
                   format + " -f rawvideo -");
}

// Where the first box of this type begins (its type's first letter); 0: none.
inline std::size_t find_box(const Bytes& bytes, const std::string& type) {
  const auto at = std::search(bytes.begin(), bytes.end(), type.begin(), type.end());
  return at == bytes.end() ? 0 : static_cast<std::size_t>(at - bytes.begin());
}

// Writes the display matrix [a b; c d] into the track header (ISO/IEC 14496-12, section 8.3.2: 16.16 numbers).
inline void set_display_matrix(Bytes& bytes, double a, double b, double c, double d) {
  const std::size_t tkhd = find_box(bytes, "tkhd");
  ASSERT_GT(tkhd, 0u);
  ASSERT_EQ(bytes[tkhd + 4], 0) << "expected version 0 of the track header";
  const auto put = [&](std::size_t cell, double value) {
    const auto v = static_cast<std::uint32_t>(static_cast<std::int32_t>(value * 65536));
    for (std::size_t i = 0; i < 4; ++i) bytes[tkhd + 44 + 4 * cell + i] = static_cast<std::uint8_t>(v >> (24 - 8 * i));
  };
  put(0, a);
  put(1, b);
  put(3, c);
  put(4, d);
}

}  // namespace baizetrace::video
