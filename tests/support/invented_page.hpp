// The page of an invented session with its invented pictures.
#pragma once

#include <gtest/gtest.h>

#include <string>

#include "base/files.hpp"
#include "practice/scoring.hpp"
#include "report/page.hpp"
#include "report/picture.hpp"
#include "report/words.hpp"
#include "support/full_size.hpp"
#include "support/invented_picture.hpp"
#include "support/program.hpp"
#include "video/still.hpp"

namespace baizetrace::invented {

using test_support::full_size;

// The invented session as one group of an invented setup, scored by it.
struct Evening {
  practice::Setup setup;
  practice::Session session;
};
inline Evening evening(int attempts) {
  Evening e{{}, session(attempts)};
  const table::Table table = full_size();
  const table::BallSet set = *table::read_ball_set("snooker");
  e.setup.file = "invented.setup.toml";
  e.setup.title = "Invented: green from its spot, white off two cushions for the brown";
  e.setup.balls = {{"white", {0.160, -0.580}, false}, {"green", {-0.292, -1.0475}, true}};
  e.setup.shot.emplace();
  e.setup.shot->kind = practice::Shot::Kind::pot;
  e.setup.shot->ball = "green";
  e.setup.shot->pocket = "baulk-left";
  e.setup.goal.emplace();
  e.setup.goal->cushions = {"left", "baulk"};
  e.setup.goal->zone.emplace();
  e.setup.goal->zone->centre = Vec2(0.35, -1.36);
  e.setup.goal->zone->radius = 0.25;
  practice::Group group;
  group.number = 1;
  group.setup = {e.setup.file, e.setup.title};
  e.session.groups.push_back(group);
  for (practice::Attempt& a : e.session.attempts) {
    a.group = 1;
    practice::score_attempt(a, e.setup, table, set);
  }
  return e;
}

inline std::string page(const practice::Session& session, int picture_width = 1920,
                        const practice::Setup* setup = nullptr) {
  const table::Table table = full_size();
  const camera::Rig rig = invented::rig(picture_width, picture_width * 9 / 16);
  report::PageInput in{session, table, setup, {}, 0.02625};
  if (setup) in.setup_of_group = {setup};
  const tests::ScratchFolder scratch;
  for (const practice::Attempt& a : session.attempts) {
    report::PictureOptions options;
    options.caption = "Invented " + std::to_string(a.number) + ". " + report::words_of(a, table).verdict;
    in.pictures.push_back(scratch.file(std::to_string(a.number) + ".png"));
    const cv::Mat drawn = report::attempt_picture(picture(rig, table, a), rig, table, a, options);
    EXPECT_TRUE(write_atomically(in.pictures.back(), as_content(video::png_of(drawn))));
  }
  return report::report_page(in);
}

}  // namespace baizetrace::invented
