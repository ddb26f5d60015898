#include "base/toml.hpp"

#include <gtest/gtest.h>
#include <sys/resource.h>

#include <csignal>
#include <filesystem>
#include <fstream>
#include <functional>

#include "base/files.hpp"
#include "support/program.hpp"

namespace baizetrace {
namespace {

std::string fault(const std::string& text, const std::function<void(TomlTable&)>& read) {
  auto t = TomlTable::parse(text, "x.toml", "thing");
  if (!t) return t.error().what;
  read(*t);
  const auto done = t->finish();
  return done ? "" : done.error().what;
}
const std::string kHead = "format = \"baizetrace/thing-1\"\n";

TEST(Toml, AnUnknownKeyIsNamedWithPlaceAndNearest) {
  const std::string what = fault(kHead + "lenght = 2\n", [](TomlTable& t) { t.maybe_number("length"); });
  EXPECT_NE(what.find("x.toml:2:1"), std::string::npos) << what;
  EXPECT_NE(what.find("lenght"), std::string::npos) << what;
  EXPECT_NE(what.find("did you mean \"length\""), std::string::npos) << what;
}

TEST(Toml, AMisspeltKeyIsToldBeforeWhatItLeavesMissing) {
  const std::string what = fault(kHead + "lenght = 2\n", [](TomlTable& t) { t.number("length"); });
  EXPECT_NE(what.find("did you mean"), std::string::npos) << what;
}

TEST(Toml, WrongTypesAndMissingKeysAreFaults) {
  EXPECT_NE(fault(kHead + "a = \"x\"\n", [](TomlTable& t) { t.number("a"); }).find("expected a number"),
            std::string::npos);
  EXPECT_NE(fault(kHead + "a = [1, 2, 3]\n", [](TomlTable& t) { t.point("a"); }).find("[x, y]"), std::string::npos);
  EXPECT_NE(fault(kHead, [](TomlTable& t) { t.text("a"); }).find("missing"), std::string::npos);
  EXPECT_EQ(fault(kHead + "a = 1\n", [](TomlTable& t) { EXPECT_EQ(t.number("a"), 1.0); }), "");
}

TEST(Toml, TheFormatLineIsRequired) {
  EXPECT_NE(fault("a = 1\n", [](TomlTable&) {}).find("baizetrace/thing-1"), std::string::npos);
  EXPECT_NE(fault("format = \"baizetrace/other-1\"\n", [](TomlTable&) {}).find("expected"), std::string::npos);
  EXPECT_NE(fault("format = \n", [](TomlTable&) {}).find("x.toml:1"), std::string::npos);
}

TEST(Toml, AnotherFormatIsNamedWithItsPlace) {
  EXPECT_EQ(fault("\nformat = \"baizetrace/other-1\"\n", [](TomlTable&) {}),
            "x.toml:2:10: format is \"baizetrace/other-1\", expected \"baizetrace/thing-1\"");
}

TEST(Toml, AFaultInATableBelowHasItsPathAndPlace) {
  const auto shot = [](TomlTable& t) {
    auto below = t.maybe_table("shot");
    ASSERT_TRUE(below);
    below->maybe_number("speed");
    if (auto deeper = below->maybe_table("tip")) deeper->maybe_number("right");
  };
  EXPECT_EQ(fault(kHead + "[shot]\nspede = 1.0\n", shot),
            "x.toml:3:1: unknown key \"shot.spede\", did you mean \"shot.speed\"?");
  EXPECT_EQ(fault(kHead + "[shot.tip]\n  rihgt = 0.1\n", shot),
            "x.toml:3:3: unknown key \"shot.tip.rihgt\", did you mean \"shot.tip.right\"?");
  EXPECT_EQ(fault(kHead + "[shot]\nspeed = \"fast\"\n", shot), "x.toml:3:9: shot.speed: expected a number");
  EXPECT_EQ(fault(kHead + "[shot]\nspeed = 2\n[shot.tip]\nright = 0.1\n", shot), "");
  // Nothing is near: no guess.
  EXPECT_EQ(fault(kHead + "[shot]\nchalk = 1\n", shot), "x.toml:3:1: unknown key \"shot.chalk\"");
  EXPECT_EQ(fault(kHead + "shot = 3\n", [](TomlTable& t) { EXPECT_FALSE(t.maybe_table("shot")); }),
            "x.toml:2:8: shot: expected a table");
}

TEST(Toml, ATableInARowOfTablesIsReadStrictly) {
  std::vector<std::string> names;
  const auto spots = [&](TomlTable& t) {
    names.clear();
    for (TomlTable& spot : t.tables("spots")) names.push_back(spot.text("name"));
  };
  EXPECT_EQ(fault(kHead + "[[spots]]\nname = \"pink\"\n[[spots]]\nname = \"black\"\n", spots), "");
  EXPECT_EQ(names, (std::vector<std::string>{"pink", "black"}));
  EXPECT_EQ(fault(kHead + "[[spots]]\nname = \"pink\"\n[[spots]]\nnmae = \"black\"\n", spots),
            "x.toml:5:1: unknown key \"spots.nmae\", did you mean \"spots.name\"?");
  EXPECT_EQ(fault(kHead + "spots = [1, 2]\n", spots), "x.toml:2:9: spots: expected tables, [[spots]]");
}

TEST(Toml, TheFaultyElementOfAnArrayIsPointedAt) {
  EXPECT_EQ(fault(kHead + "a = [1, 2, \"x\"]\n", [](TomlTable& t) { t.maybe_numbers("a"); }),
            "x.toml:2:12: a: expected numbers in brackets");
  EXPECT_EQ(fault(kHead + "a = [\"left\", 2]\n", [](TomlTable& t) { t.maybe_words("a"); }),
            "x.toml:2:14: a: expected words in brackets");
  EXPECT_EQ(fault(kHead + "a = [[0, 1], [2]]\n", [](TomlTable& t) { t.maybe_points("a"); }),
            "x.toml:2:14: a: expected [x, y] in each row");
  EXPECT_EQ(fault(kHead + "a = [[\"p\", \"q\"], \"r\"]\n", [](TomlTable& t) { t.maybe_rows_of_words("a"); }),
            "x.toml:2:18: a: expected words in brackets");
  EXPECT_EQ(fault(kHead + "a = [[0, 1], [2, -3.5]]\n",
                  [](TomlTable& t) {
                    const auto rows = t.maybe_points("a");
                    ASSERT_TRUE(rows && rows->size() == 2);
                    EXPECT_EQ((*rows)[1], Vec2(2, -3.5));
                  }),
            "");
}

// While it lives the process may write no file beyond `bytes`: as on a full disk, but for root too.
class SmallDisk {
 public:
  explicit SmallDisk(rlim_t bytes) : handler_(std::signal(SIGXFSZ, SIG_IGN)) {
    ::getrlimit(RLIMIT_FSIZE, &before_);
    const rlimit small{bytes, before_.rlim_max};
    ::setrlimit(RLIMIT_FSIZE, &small);
  }
  SmallDisk(const SmallDisk&) = delete;
  SmallDisk& operator=(const SmallDisk&) = delete;
  ~SmallDisk() {
    ::setrlimit(RLIMIT_FSIZE, &before_);
    std::signal(SIGXFSZ, handler_);
  }

 private:
  rlimit before_{};
  void (*handler_)(int);
};

TEST(Files, AFullDiskKeepsTheOldFileWhole) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("session.json");
  ASSERT_TRUE(write_atomically(file, "old"));
  Result<Done> done = Done{};
  {
    const SmallDisk disk(4096);
    done = write_atomically(file, std::string(100000, 'x'));
  }
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().what.find(file + ": cannot be written ("), 0U) << done.error().what;
  EXPECT_EQ(*read_text(file), "old");
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(folder.path()), {}), 1);
}

TEST(Files, AWriteThatFailsLeavesTheOldFile) {
  const tests::ScratchFolder folder;
  ASSERT_TRUE(write_atomically(folder.file("a"), "old"));
  ASSERT_TRUE(write_atomically(folder.file("a"), "new"));
  EXPECT_EQ(*read_text(folder.file("a")), "new");
  EXPECT_FALSE(write_atomically(folder.file("no-such-folder/a"), "x"));
  std::filesystem::create_directory(folder.file("b"));
  EXPECT_FALSE(write_atomically(folder.file("b"), "x"));  // a folder is in the way
  int files = 0;
  for (const auto& e : std::filesystem::directory_iterator(folder.path())) files += e.exists();
  EXPECT_EQ(files, 2);  // nothing half-written beside them
}

TEST(Angles, HeadingIsFromTheTopClockwise) {
  EXPECT_NEAR(heading_of({0, 1}), 0, 1e-15);
  EXPECT_NEAR(heading_of({1, 0}), kPi / 2, 1e-15);
  EXPECT_NEAR(heading_of({-1, 0}), -kPi / 2, 1e-15);
  for (double h = -3; h < 3.1; h += 0.1) EXPECT_NEAR(heading_of(along_heading(h)), h, 1e-12);
  EXPECT_NEAR(wrap_angle(3 * kPi), kPi, 1e-12);
  EXPECT_NEAR(wrap_angle(-kPi), kPi, 1e-12);
  for (int turns = -3; turns <= 3; ++turns) EXPECT_NEAR(wrap_angle(1.25 + 2 * kPi * turns), 1.25, 1e-12);
}

}  // namespace
}  // namespace baizetrace
