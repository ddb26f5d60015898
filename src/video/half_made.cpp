#include "video/half_made.hpp"

#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <utility>

namespace baizetrace::video {
namespace fs = std::filesystem;

HalfMade::HalfMade(std::string file) : file_(std::move(file)) {
  const fs::path path(file_);
  part_ =
      (path.parent_path() / fmt::format(".{}.part-{}{}", path.stem().string(), ::getpid(), path.extension().string()))
          .string();
}

HalfMade::HalfMade(HalfMade&& other) noexcept
    : file_(std::move(other.file_)), part_(std::exchange(other.part_, std::string())) {}

HalfMade& HalfMade::operator=(HalfMade&& other) noexcept {
  if (this == &other) return *this;
  drop();
  file_ = std::move(other.file_);
  part_ = std::exchange(other.part_, std::string());
  return *this;
}

HalfMade::~HalfMade() { drop(); }

void HalfMade::drop() {
  if (!part_.empty()) std::remove(part_.c_str());
  part_.clear();
}

Result<Done> HalfMade::keep() {
  if (std::rename(part_.c_str(), file_.c_str()) != 0) {
    const int why = errno;
    drop();
    return fail("{}: cannot be written ({})", file_, std::strerror(why));
  }
  part_.clear();
  return Done{};
}

}  // namespace baizetrace::video
