// What a path's contacts are told with.
#include "path/publish.hpp"

#include "path/reconstruct.hpp"
#include "path/surfaces.hpp"
#include "watching.hpp"

namespace baizetrace::path {
namespace {

// The white runs up the table into the top cushion and comes back.
class OffTheTop : public Watching {
 protected:
  // The contact with the top cushion as it is told with these options.
  [[nodiscard]] Contact told(const ReconstructOptions& options) const {
    const Cloth cloth;
    Leg up;
    up.t = 0.5;
    up.p = {0.1, 0.9};
    up.v = {0.3, 1.6};
    up.w = 0.1 * up.v;
    Leg back;
    for (const Surface& s : surfaces_of(table, 0.02625))
      if (s.name == "top" && s.kind == ContactKind::cushion) back.t = *first_touch(up, cloth, s, 0.5, 3, 0);
    back.p = up.at(back.t, cloth);
    const Vec2 v = up.velocity_at(back.t, cloth);
    back.v = {v.x(), -0.8 * v.y()};
    back.w = {0, -0.3 * v.y()};
    BallTrack white;
    white.ball = "white";
    white.moved = true;
    Stay lay;
    lay.at = up.p;
    lay.covariance = 1e-7 * Mat2::Identity();
    lay.sightings = 30;
    white.before = lay;
    Episode episode;
    episode.end = 2;
    for (int f = 0; f < 61; ++f) {
      const double t = f / 30.0;
      episode.frame_times.push_back(t);
      // Errors of a pattern of its own: no two frames alike.
      const Vec2 error = 0.0004 * Vec2(std::sin(7.1 * f), std::cos(4.3 * f));
      white.seen.push_back(see("white", t, (t < back.t ? up : back).at(t, cloth) + error));
    }
    episode.balls.push_back(white);
    const EpisodePaths paths = reconstruct(episode, table, set, options);
    for (const BallPath& b : paths.balls)
      for (const Contact& c : b.contacts)
        if (c.kind == ContactKind::cushion && c.with == "top") return c;
    ADD_FAILURE() << "no contact with the top cushion";
    return {};
  }
};

// Told off the bed's middle a ball on a nose is where the nose is, and as well known as the table's size; along it the
// rig's share counts. With half of the rig's share across, intervals held 64 of 100 such places in drawn shots.
TEST_F(OffTheTop, AcrossANoseAContactIsAsWellKnownAsTheTablesSize) {
  ReconstructOptions options;
  options.rig_covariance = [](const Vec2&) { return Mat2(1e-6 * Mat2::Identity()); };
  options.rig_off_noses = [](const Vec2&) { return Mat2(1e-8 * Mat2::Identity()); };
  options.size_covariance = Vec2(1e-6, 9e-6).asDiagonal();
  const Contact c = told(options);
  EXPECT_NEAR(c.u.y(), 0.003, 0.0001);
  EXPECT_GT(c.u.x(), 0.001);
  EXPECT_LT(c.u.x(), 0.0013);
  options.size_covariance.setZero();
  EXPECT_LT(told(options).u.y(), 0.0005) << "a table of known size";
}

// The moment is off by what the rig tells wrongly of the way between ball and nose, and no more.
TEST_F(OffTheTop, ItsMomentByHowFarTheBallIsOffTheNose) {
  ReconstructOptions options;
  const Contact exact = told(options);
  options.rig_covariance = [](const Vec2&) { return Mat2(1e-5 * Mat2::Identity()); };
  EXPECT_EQ(told(options).u_time, exact.u_time) << "both moved alike";
  options.rig_off_noses = [](const Vec2&) { return Mat2(4e-6 * Mat2::Identity()); };
  const double v = exact.speed_in * std::cos(exact.heading_in);  // up the table
  const double by_rig = 0.002 / v;
  EXPECT_NEAR(told(options).u_time, std::hypot(exact.u_time, by_rig), 1e-6);
}

}  // namespace
}  // namespace baizetrace::path
