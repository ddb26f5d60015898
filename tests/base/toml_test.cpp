#include "base/toml.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

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
}

}  // namespace
}  // namespace baizetrace
