// A file under a temporary name until it is whole: then renamed, else removed.
#pragma once

#include <string>

#include "base/error.hpp"

namespace baizetrace::video {

class HalfMade {
 public:
  // "dir/name.mp4" is made as "dir/.name.part-PID.mp4": hidden, and its ending tells what it is.
  explicit HalfMade(std::string file);
  HalfMade(HalfMade&& other) noexcept;
  HalfMade& operator=(HalfMade&& other) noexcept;
  HalfMade(const HalfMade&) = delete;
  HalfMade& operator=(const HalfMade&) = delete;
  ~HalfMade();

  [[nodiscard]] const std::string& file() const { return file_; }
  [[nodiscard]] const std::string& part() const { return part_; }
  // Error: cannot be renamed; then it is removed.
  Result<Done> keep();

 private:
  void drop();
  std::string file_, part_;
};

}  // namespace baizetrace::video
