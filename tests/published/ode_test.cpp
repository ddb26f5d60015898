// Slide and impact of a sphere beside ODE, a general rigid-body engine, run at small steps. ODE has no rolling
// resistance: the comparison is over slides and impacts alone.
#include <gtest/gtest.h>

#include "motion/ball_contact.hpp"
#include "motion/phase.hpp"
#ifdef BAIZETRACE_ODE
#include <ode/ode.h>
#endif

namespace baizetrace::motion {
namespace {

#ifndef BAIZETRACE_ODE
TEST(Ode, NotHere) { GTEST_SKIP() << "libode-dev was not found when this was configured"; }
#else
constexpr double kR = 0.02625;
constexpr double kStep = 5e-5;  // s
// ODE's steps are of first order: a slide of half a second is off by about g mu times one step in speed.
constexpr double kSpeedBound = 1e-3;  // m/s
constexpr double kPlaceBound = 2e-3;  // m

struct Engine {
  dWorldID world;
  dSpaceID space;
  dJointGroupID contacts;
  double friction = 0, bounce = 0;
  Engine() {
    dInitODE();
    world = dWorldCreate();
    space = dSimpleSpaceCreate(nullptr);
    contacts = dJointGroupCreate(0);
    dWorldSetGravity(world, 0, 0, -kGravity);
    dWorldSetERP(world, 0.2);
    dWorldSetCFM(world, 1e-10);
  }
  ~Engine() {
    dJointGroupDestroy(contacts);
    dSpaceDestroy(space);
    dWorldDestroy(world);
    dCloseODE();
  }
  dBodyID sphere(double x, double y) const {
    const dBodyID body = dBodyCreate(world);
    dMass mass;
    dMassSetSphereTotal(&mass, 0.142, kR);
    dBodySetMass(body, &mass);
    dBodySetPosition(body, x, y, kR);
    dBodySetGyroscopicMode(body, 0);
    const dGeomID geom = dCreateSphere(space, kR);
    dGeomSetBody(geom, body);
    return body;
  }
  void step() {
    dSpaceCollide(space, this, [](void* data, dGeomID a, dGeomID b) {
      Engine& e = *static_cast<Engine*>(data);
      dContact c[1];
      if (dCollide(a, b, 1, &c[0].geom, sizeof(dContact)) == 0) return;
      const bool with_bed = dGeomGetClass(a) == dPlaneClass || dGeomGetClass(b) == dPlaneClass;
      c[0].surface.mode = dContactApprox1 | dContactBounce;
      c[0].surface.mu = with_bed ? e.friction : 0;
      c[0].surface.bounce = with_bed ? 0 : e.bounce;
      c[0].surface.bounce_vel = 0;
      const dJointID j = dJointCreateContact(e.world, e.contacts, c);
      dJointAttach(j, dGeomGetBody(a), dGeomGetBody(b));
    });
    dWorldStep(world, kStep);
    dJointGroupEmpty(contacts);
  }
};

TEST(Ode, Slide) {
  Engine e;
  e.friction = 0.2;
  dCreatePlane(e.space, 0, 0, 1, 0);
  const dBodyID b = e.sphere(0, 0);
  Conditions c;
  c.rolling = 0.001;
  // A straight slide: a friction pyramid, as ODE's, is Coulomb's cone along its axes.
  const State s{Vec2::Zero(), Vec2(0, 2), Vec3(30, 0, 0)};
  dBodySetLinearVel(b, 0, 2, 0);
  dBodySetAngularVel(b, 30, 0, 0);
  const Motion m = move_freely(s, kR, 0, c);
  const int steps = static_cast<int>(0.8 * m.to / kStep);
  for (int i = 0; i < steps; ++i) e.step();
  const double t = steps * kStep;
  EXPECT_NEAR(dBodyGetLinearVel(b)[1], m.velocity_at(t).y(), kSpeedBound);
  EXPECT_NEAR(dBodyGetPosition(b)[1], m.place_at(t).y(), kPlaceBound);
  EXPECT_NEAR(dBodyGetAngularVel(b)[0] * kR, m.at(t).spin.x() * kR, 2.5 * kSpeedBound);
  for (int i = 0; i < 2 * steps; ++i) e.step();
  EXPECT_NEAR(dBodyGetLinearVel(b)[1], m.velocity_at(m.to).y(), kSpeedBound);  // rolls on at that speed
}

TEST(Ode, BallOntoBall) {
  Engine e;
  e.bounce = 0.95;
  dWorldSetGravity(e.world, 0, 0, 0);
  const Vec2 other(0.02, 0.3);
  const dBodyID a = e.sphere(0, 0), b = e.sphere(other.x(), other.y());
  dBodySetLinearVel(a, 0, 1.5, 0);
  for (int i = 0; i < static_cast<int>(0.3 / kStep); ++i) e.step();
  // Ours, from where they touch.
  const double along = other.y() - std::sqrt(4 * kR * kR - other.x() * other.x());
  State s{Vec2(0, along), Vec2(0, 1.5), Vec3::Zero()}, o{other, Vec2::Zero(), Vec3::Zero()};
  Conditions c;
  c.ball_friction = {0, 0, 0};
  collide(s, {kR, 0.142}, o, {kR, 0.142}, c);
  // ODE finds the touch up to one step late, 75 um deep: the line of centres is off by up to 1.4 mrad.
  constexpr double kImpactBound = 5e-3;  // m/s
  EXPECT_NEAR(dBodyGetLinearVel(a)[0], s.velocity.x(), kImpactBound);
  EXPECT_NEAR(dBodyGetLinearVel(a)[1], s.velocity.y(), kImpactBound);
  EXPECT_NEAR(dBodyGetLinearVel(b)[0], o.velocity.x(), kImpactBound);
  EXPECT_NEAR(dBodyGetLinearVel(b)[1], o.velocity.y(), kImpactBound);
}
#endif

}  // namespace
}  // namespace baizetrace::motion
