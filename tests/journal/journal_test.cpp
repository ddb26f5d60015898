// The journal: what was added is there once, survives a kill at any instant, and answers fast.
#include "journal/journal.hpp"

#include <SQLiteCpp/SQLiteCpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <ctime>

#include "base/files.hpp"
#include "journal/schema.hpp"
#include "support/invented_session.hpp"
#include "support/program.hpp"
#include "support/truth_looks.hpp"

namespace baizetrace::journal {
namespace {

using testing::HasSubstr;

practice::Session session(int which, int attempts) {
  practice::Session s = invented::session(attempts);
  s.clip.file = fmt::format("evening-{:03}.mp4", which);
  practice::Group g;
  g.number = 1;
  g.setup = {"invented.setup.toml", "Invented: green for the brown"};
  s.groups.push_back(g);
  for (practice::Attempt& a : s.attempts) a.group = 1;
  return s;
}

// The invented setup: a zone about where the invented white stops.
std::vector<std::optional<practice::Setup>> setups() {
  practice::Setup setup;
  setup.title = "Invented: green for the brown";
  setup.goal.emplace();
  setup.goal->cushions = {"left", "baulk"};
  setup.goal->zone.emplace();
  setup.goal->zone->centre = Vec2(0.35, -1.36);
  setup.goal->zone->radius = 0.25;
  return {setup};
}

TEST(Journal, AddingASessionTwiceDoesNotDoubleItAndKeepsPlayers) {
  const tests::ScratchFolder folder;
  auto j = Journal::open(folder.file("j.db"));
  ASSERT_TRUE(j) << j.error().what;
  const practice::Session s = session(1, 6);
  const std::vector<std::string> two{"Ann", "Ben"};
  const auto id = j->add(s, two, setups());
  ASSERT_TRUE(id) << id.error().what;
  ASSERT_TRUE(j->assign(*id, "Cy", std::vector<int>{2}));
  const auto again = j->add(s, {}, setups());
  ASSERT_TRUE(again) << again.error().what;
  EXPECT_EQ(*id, *again);
  const auto rows = *j->attempts();
  ASSERT_EQ(rows.size(), 6U);
  EXPECT_EQ(rows[0].player, "Ann");
  EXPECT_EQ(rows[1].player, "Cy");
  EXPECT_EQ(rows[3].player, "Ben");
  const auto list = *j->sessions();
  ASSERT_EQ(list.size(), 1U);
  EXPECT_EQ(list[0].attempts, 6);
  EXPECT_EQ(list[0].players, "Ann, Ben, Cy");
  EXPECT_EQ(list[0].pots, 5);
  // Another recording is another session.
  ASSERT_TRUE(j->add(session(2, 3), {}, setups()));
  EXPECT_EQ(j->sessions()->size(), 2U);
}

TEST(Journal, KeepsPathsAndMeasures) {
  const tests::ScratchFolder folder;
  auto j = Journal::open(folder.file("j.db"));
  const practice::Session s = session(1, 2);
  ASSERT_TRUE(j->add(s, {}, setups()));
  const auto path = *j->path(1, 2, "white");
  const auto& rows = s.attempts[1].balls.at("white").rows;
  ASSERT_EQ(path.size(), rows.size());
  double worst = 0;
  for (std::size_t k = 0; k < rows.size(); ++k)
    worst = std::max({worst, (path[k].at - rows[k].at).norm(), std::abs(path[k].time - rows[k].time)});
  EXPECT_LT(worst, 1e-6);  // m, s: 32-bit floats
  const auto a = (*j->attempts())[0];
  ASSERT_TRUE(a.from_mark && a.along && a.pace && a.rest);
  EXPECT_NEAR(*a.from_mark, (s.attempts[0].after.at("white").at - Vec2(0.35, -1.36)).norm(), 1e-12);
  EXPECT_NEAR(*a.pace, s.attempts[0].strike->speed, 1e-12);
}

// A file of the first version, made as that version made it, is brought up to date and loses nothing.
TEST(Journal, MigratesTheFirstVersion) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("old.db");
  {
    SQLite::Database db(file, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
    db.exec(steps()[0]);
    db.exec(fmt::format("PRAGMA application_id = {}", kApplication));
    db.exec("PRAGMA user_version = 1");
    db.exec("INSERT INTO players VALUES (1, 'Ann')");
    db.exec("INSERT INTO setups VALUES (1, 'Old shot', 'old.setup.toml')");
    db.exec("INSERT INTO tables VALUES (1, 'full-size', 0.889, 1.7845)");
    db.exec("INSERT INTO sessions VALUES (1, 'old.mp4', 'old.mp4', 1, 1, 1)");
    db.exec(
        "INSERT INTO attempts VALUES (1, 1, 1, 1, 1, 2.5, 'rest', 1, 1, 0, 2, 2, 0.1, 0.2, 0.11, 0.1, 0.05, 2.2, "
        "0.3, 0.001)");
  }
  auto j = Journal::open(file);
  ASSERT_TRUE(j) << j.error().what;
  EXPECT_EQ(j->version(), static_cast<int>(steps().size()));
  const auto rows = *j->attempts({"Old shot", "Ann", std::nullopt});
  ASSERT_EQ(rows.size(), 1U);
  EXPECT_EQ(*rows[0].from_mark, 0.11);
  EXPECT_EQ(*j->integrity(), "ok");
  ASSERT_TRUE(j->add(session(1, 2), {}, setups()));
  EXPECT_EQ(j->sessions()->size(), 2U);
}

TEST(Journal, OpensSafely) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("j.db");
  ASSERT_TRUE(Journal::open(file));
  SQLite::Database db(file, SQLite::OPEN_READONLY);
  EXPECT_EQ(db.execAndGet("PRAGMA journal_mode").getString(), "wal");
  EXPECT_EQ(db.execAndGet("PRAGMA user_version").getInt(), static_cast<int>(steps().size()));
}

TEST(Journal, RefusesWhatIsNoJournal) {
  const tests::ScratchFolder folder;
  const std::string text = folder.file("text.db"), other = folder.file("other.db"), newer = folder.file("newer.db");
  ASSERT_TRUE(write_atomically(text, std::string(5000, 'x')));
  EXPECT_THAT(Journal::open(text).error().what, HasSubstr("is not a journal"));
  {
    SQLite::Database db(other, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
    db.exec("CREATE TABLE mine (x)");
  }
  EXPECT_THAT(Journal::open(other).error().what, HasSubstr("another program's file"));
  ASSERT_TRUE(Journal::open(newer));
  {
    SQLite::Database db(newer, SQLite::OPEN_READWRITE);
    db.exec("PRAGMA user_version = 99");
  }
  EXPECT_THAT(Journal::open(newer).error().what, HasSubstr("newer version"));
  EXPECT_THAT(Journal::open(folder.file("no/such/j.db")).error().what, HasSubstr("folder does not exist"));
  EXPECT_THAT(Journal::open(folder.path().string()).error().what, HasSubstr("is a folder"));
}

TEST(Journal, CsvIsQuotedAsRfc4180Says) {
  const tests::ScratchFolder folder;
  auto j = Journal::open(folder.file("j.db"));
  practice::Session s = session(1, 1);
  s.groups[0].setup->second = "Green, \"the\" brown";
  ASSERT_TRUE(j->add(s, std::vector<std::string>{"Ann"}, setups()));
  const std::string csv = *j->csv();
  EXPECT_THAT(csv, HasSubstr("\"Green, \"\"the\"\" brown\",Ann,"));
  EXPECT_EQ(std::count(csv.begin(), csv.end(), '\n'), 2);
}

TEST(Journal, BackupIsWholeAndNeverOverwrites) {
  const tests::ScratchFolder folder;
  auto j = Journal::open(folder.file("j.db"));
  ASSERT_TRUE(j->add(session(1, 4), {}, setups()));
  const std::string copy = folder.file("copy.db");
  ASSERT_TRUE(j->backup(copy));
  EXPECT_FALSE(j->backup(copy));
  EXPECT_EQ(Journal::open(copy)->attempts()->size(), 4U);
}

TEST(Journal, AssignRefusesWhatIsNotThereAndChangesNothing) {
  const tests::ScratchFolder folder;
  auto j = Journal::open(folder.file("j.db"));
  ASSERT_TRUE(j->add(session(1, 3), {}, setups()));
  EXPECT_THAT(j->assign(9, "Ann").error().what, HasSubstr("holds no session 9"));
  EXPECT_THAT(j->assign(1, "Ann", std::vector<int>{1, 7}).error().what, HasSubstr("no attempt 7"));
  const auto rows = *j->attempts();
  for (const AttemptRow& r : rows) EXPECT_EQ(r.player, "");
}

// A process that adds sessions is killed at random instants, many times: the file stays whole, every session that
// add() returned from is there, and none is there in part.
TEST(Journal, AKillAtAnyInstantLosesNothingCommitted) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("j.db");
  support::Dice dice{2024};
  constexpr int kKills = 40, kAttempts = 12;
  int acknowledged = 0, next = 0, midway = 0;
  // A busy machine commits little between two kills: then there are more of them.
  for (int kill = 0; kill < kKills || (next <= kKills / 4 && kill < 10 * kKills); ++kill) {
    int pipe_ends[2];
    ASSERT_EQ(::pipe(pipe_ends), 0);
    const pid_t child = ::fork();
    if (child == 0) {
      ::close(pipe_ends[0]);
      auto j = Journal::open(file);
      for (int k = next; j; ++k) {
        if (!j->add(session(k, kAttempts), {}, setups())) break;
        const char done = 1;
        if (::write(pipe_ends[1], &done, 1) != 1) break;
      }
      ::_exit(1);
    }
    ::close(pipe_ends[1]);
    ::usleep(static_cast<useconds_t>(1000 + 40'000 * dice.uniform()));
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
    char one = 0;
    while (::read(pipe_ends[0], &one, 1) == 1) ++acknowledged, ++next;
    ::close(pipe_ends[0]);

    const auto j = Journal::open(file);
    ASSERT_TRUE(j) << j.error().what;
    ASSERT_EQ(*j->integrity(), "ok");
    const auto list = *j->sessions();
    EXPECT_GE(static_cast<int>(list.size()), acknowledged);
    EXPECT_LE(static_cast<int>(list.size()), acknowledged + kill + 1);
    for (const SessionRow& r : list) EXPECT_EQ(r.attempts, kAttempts);
    midway += static_cast<int>(list.size()) > acknowledged;
    next = static_cast<int>(list.size());
    acknowledged = next;
  }
  RecordProperty("sessions", next);
  RecordProperty("kills_between_commit_and_word", midway);
  EXPECT_GT(next, kKills / 4);
}

// 10,000 attempts over 500 evenings: a trend of one setup in under 100 ms of processor time.
TEST(Journal, TrendOverTenThousandAttempts) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("j.db");
  {
    auto j = Journal::open(file);
    practice::Session s = session(0, 20);
    for (practice::Attempt& a : s.attempts)
      for (auto& [ball, path] : a.balls) path.rows.resize(std::min<std::size_t>(path.rows.size(), 60));
    for (int k = 0; k < 500; ++k) {
      s.clip.file = fmt::format("evening-{:03}.mp4", k);
      ASSERT_TRUE(j->add(s, {}, setups()));
    }
  }
  const auto j = Journal::open(file);
  double least = 1e9;
  Trend t;
  for (int k = 0; k < 5; ++k) {
    const std::clock_t begun = std::clock();
    t = *j->trend({"Invented: green for the brown", "", std::nullopt});
    least = std::min(least, static_cast<double>(std::clock() - begun) / CLOCKS_PER_SEC);
  }
  RecordProperty("trend_ms", std::to_string(1000 * least));
  std::cout << "trend over 10,000 attempts: " << 1000 * least << " ms of processor time\n";
  EXPECT_EQ(t.evenings.size(), 500U);
  EXPECT_LT(least, 0.100);
}

// A spread that shrinks by 2 cm an evening and grows by 1 cm in ten attempts is read off; three evenings tell no trend.
TEST(Trend, LedBySpreadAndTiringOnlyOverSeveralEvenings) {
  const tests::ScratchFolder folder;
  auto j = Journal::open(folder.file("j.db"));
  support::Dice dice{17};
  const auto evening = [&](int k) {
    practice::Session s = session(k, 15);
    for (practice::Attempt& a : s.attempts) {
      a.ended = practice::Ended::rest;
      const double off = 0.30 - 0.02 * k + 0.001 * a.number + 0.004 * dice.normal();
      a.after["white"].at = Vec2(0.35, -1.36) + off * along_heading(0.9);
    }
    return s;
  };
  const Filter filter{"Invented: green for the brown", "", std::nullopt};
  for (int k = 0; k < 3; ++k) ASSERT_TRUE(j->add(evening(k), {}, setups()));
  EXPECT_FALSE(j->trend(filter)->spread_per_evening);
  EXPECT_FALSE(j->trend(filter)->tiring);
  for (int k = 3; k < 7; ++k) ASSERT_TRUE(j->add(evening(k), {}, setups()));
  const Trend t = *j->trend(filter);
  EXPECT_NEAR(*t.spread_per_evening, -0.02, 0.003);
  EXPECT_LT(t.spread_by_chance, 0.01);
  EXPECT_NEAR(t.tiring->mean, 0.001, 0.0006);
  EXPECT_GT(t.tiring_interval->low, 0);
  EXPECT_FALSE(t.halves) << "a percentage of fewer than 100 attempts a side shows no change";
}

// Evenings of different shots tell no trend of either.
TEST(Trend, IsOfOneSetup) {
  const tests::ScratchFolder folder;
  auto j = Journal::open(folder.file("j.db"));
  for (int k = 0; k < 4; ++k) ASSERT_TRUE(j->add(session(k, 15), {}, setups()));
  EXPECT_TRUE(j->trend({})->spread_per_evening);
  EXPECT_TRUE(j->trend({})->one_shot);
  practice::Session other = session(4, 15);
  other.groups[0].setup->second = "Invented: another";
  auto named = setups();
  named[0]->title = "Invented: another";
  ASSERT_TRUE(j->add(other, {}, named));
  EXPECT_FALSE(j->trend({})->one_shot);
  EXPECT_FALSE(j->trend({})->spread_per_evening);
  EXPECT_TRUE(j->trend({"Invented: green for the brown", "", std::nullopt})->spread_per_evening);
}

// The command, as a user runs it.
TEST(Command, TellsOneLineOfWhatIsWrong) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("j.db");
  for (const std::vector<std::string>& bad : {std::vector<std::string>{"journal", "list", folder.file("none.db")},
                                              {"journal", "add", file, folder.file("none")},
                                              {"journal", "show", file, "3"},
                                              {"journal", "assign", file, "1", "Ann", "--attempts", "3-x"}}) {
    const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, bad);
    EXPECT_EQ(ran.code, 1) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_EQ(ran.out, "");
  }
  EXPECT_FALSE(std::filesystem::exists(folder.file("none.db")));
}

TEST(Command, AddsListsShowsTrendsAssignsExportsAndBacksUp) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("j.db");
  const practice::Session s = session(1, 6);
  ASSERT_TRUE(write_atomically(folder.path() / "session.json", practice::session_json(s)));
  const auto run = [&](std::vector<std::string> more) {
    more.insert(more.begin(), "journal");
    const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, more);
    EXPECT_EQ(ran.code, 0) << ran.err;
    EXPECT_EQ(ran.err, "");
    return ran.out;
  };
  EXPECT_THAT(run({"add", file, folder.path().string(), "--players", "Ann,Ben"}), HasSubstr("6 attempts"));
  EXPECT_THAT(run({"list", file}), HasSubstr("5 of 6 (83 %, 44-97)"));
  EXPECT_THAT(run({"show", file, "1"}), HasSubstr("missed"));
  EXPECT_THAT(run({"assign", file, "1", "Cy", "--attempts", "1-2,5"}), HasSubstr("3 attempts"));
  EXPECT_THAT(run({"trend", file, "--player", "Cy"}), HasSubstr("No trend yet"));
  EXPECT_THAT(run({"export", file}), HasSubstr("Invented: green for the brown,Cy,"));
  EXPECT_THAT(run({"backup", file, "-o", folder.file("copy.db")}), HasSubstr("wrote"));
  EXPECT_TRUE(std::filesystem::exists(folder.file("copy.db")));
}

}  // namespace
}  // namespace baizetrace::journal
