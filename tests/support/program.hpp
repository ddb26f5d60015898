// Runs the built program as a user would: arguments in, exit code and both streams out.
#pragma once

#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

namespace baizetrace::tests {

struct Ran {
  int code = -1;  // -1: ended by a signal
  std::string out, err;
};

// A folder of its own under the system's temporary folder, removed at the end.
class ScratchFolder {
 public:
  ScratchFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "baizetrace-XXXXXX").string();
    path_ = ::mkdtemp(name.data());
  }
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;
  ~ScratchFolder() {
    std::error_code code;
    std::filesystem::remove_all(path_, code);
  }
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

inline Ran run_program(const std::string& program, const std::vector<std::string>& arguments) {
  ScratchFolder scratch;
  const std::string out = scratch.file("out"), err = scratch.file("err");
  const pid_t child = ::fork();
  if (child == 0) {
    for (const auto& [name, stream] : {std::pair(&out, 1), std::pair(&err, 2)})
      ::dup2(::open(name->c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600), stream);
    std::vector<char*> argv{const_cast<char*>(program.c_str())};
    for (const std::string& a : arguments) argv.push_back(const_cast<char*>(a.c_str()));
    argv.push_back(nullptr);
    ::execv(program.c_str(), argv.data());
    ::_exit(127);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  const auto text = [](const std::string& file) {
    std::ostringstream s;
    s << std::ifstream(file).rdbuf();
    return s.str();
  };
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, text(out), text(err)};
}

// The drawn clips with their truth: $BAIZETRACE_FOOTAGE, else beside the source tree; empty when absent.
inline std::filesystem::path footage_folder() {
  namespace fs = std::filesystem;
  if (const char* set = std::getenv("BAIZETRACE_FOOTAGE"); set && *set) return fs::exists(set) ? set : fs::path();
  const fs::path beside = fs::path(BAIZETRACE_SOURCE) / ".." / "shared" / "footage";
  return fs::exists(beside / "P1.truth.json") ? beside.lexically_normal() : fs::path();
}

}  // namespace baizetrace::tests
