// The house stays one-way: a folder under src/ includes only its own files and floors below it, and the floors that can
// be embedded anywhere use neither OpenCV nor video.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <regex>
#include <sstream>
#include <string>
#include <vector>

namespace baizetrace {
namespace {
namespace fs = std::filesystem;

const std::vector<std::string> kFloors{"base",     "table",   "motion",  "video",  "camera", "sight", "path",
                                       "practice", "compare", "journal", "report", "serve",  "cli"};
const std::vector<std::string> kEmbeddable{"base", "table", "motion", "path", "practice", "compare"};
constexpr long kLongest = 600;  // lines of a source file

std::ptrdiff_t floor_of(const std::string& folder) {
  return std::find(kFloors.begin(), kFloors.end(), folder) - kFloors.begin();
}

// What is wrong with the includes of a file of `folder`, one line each.
std::vector<std::string> faults_in(const std::string& folder, const std::string& text) {
  static const std::regex include(R"(^\s*#\s*include\s*([<"])([^">]+)[">])");
  std::vector<std::string> out;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    std::smatch found;
    if (!std::regex_search(line, found, include)) continue;
    const std::string what = found[2];
    const std::string other = what.substr(0, what.find('/'));
    const bool embeddable = std::find(kEmbeddable.begin(), kEmbeddable.end(), folder) != kEmbeddable.end();
    // A floor that is not embeddable would bring its OpenCV or FFmpeg along by its own headers.
    const bool embeddable_too = std::find(kEmbeddable.begin(), kEmbeddable.end(), other) != kEmbeddable.end();
    const bool is_floor = floor_of(other) < static_cast<std::ptrdiff_t>(kFloors.size());
    if (embeddable && (other == "opencv2" || other.starts_with("libav") || other.starts_with("libsw") ||
                       (is_floor && !embeddable_too)))
      out.push_back(folder + " must do without " + what);
    if (found[1] == "\"" && what.find('/') != std::string::npos && floor_of(other) > floor_of(folder))
      out.push_back(folder + " includes upwards: " + what);
  }
  return out;
}

TEST(House, EveryIncludeGoesDown) {
  int files = 0;
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(BAIZETRACE_SOURCE) / "src")) {
    const std::string ending = entry.path().extension().string();
    if (ending != ".cpp" && ending != ".hpp") continue;
    const std::string folder = entry.path().parent_path().filename().string();
    ASSERT_LT(floor_of(folder), static_cast<std::ptrdiff_t>(kFloors.size())) << folder << " is no floor of the house";
    std::ostringstream text;
    text << std::ifstream(entry.path()).rdbuf();
    const std::string content = text.str();
    for (const std::string& fault : faults_in(folder, content)) ADD_FAILURE() << entry.path() << ": " << fault;
    EXPECT_LE(std::count(content.begin(), content.end(), '\n'), kLongest)
        << entry.path() << ": what is the second idea?";
    ++files;
  }
  EXPECT_GT(files, 100);
}

TEST(House, TheCheckCanFail) {
  EXPECT_EQ(faults_in("table", "#include \"motion/motion.hpp\"\n").size(), 1U);
  EXPECT_EQ(faults_in("path", "#include <opencv2/core.hpp>\n").size(), 1U);
  EXPECT_EQ(faults_in("path", "#include \"video/clip.hpp\"\n").size(), 1U);
  EXPECT_EQ(faults_in("compare", "#include \"camera/camera.hpp\"\n").size(), 1U);
  EXPECT_EQ(faults_in("motion", "#include <libswscale/swscale.h>\n").size(), 1U);
  EXPECT_EQ(faults_in("sight", "#include <opencv2/core.hpp>\n#include \"camera/camera.hpp\"\n").size(), 0U);
  EXPECT_EQ(faults_in("cli", "#include \"base/error.hpp\"\n#include <vector>\n").size(), 0U);
  EXPECT_EQ(faults_in("report", "  #  include \"cli/command.hpp\"\n").size(), 1U);
}

}  // namespace
}  // namespace baizetrace
