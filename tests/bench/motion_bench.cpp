// Shots a second of the simulator on one core, at about 4 m/s. Record with the command:
//   build/tests/bench/motion_bench --benchmark_min_time=1
#include <benchmark/benchmark.h>

#include "base/files.hpp"
#include "motion/motion.hpp"
#include "motion/simulator.hpp"
#ifdef BAIZETRACE_ODE
#include <ode/ode.h>
#endif

namespace {
using namespace baizetrace;
using namespace baizetrace::motion;

std::vector<Ball> balls_for(int count) {
  std::vector<Ball> balls(static_cast<std::size_t>(count));
  balls[0].name = "white";
  balls[0].place = Vec2(0.1, -1.2);
  if (count == 22) {  // a pack and the colours
    std::size_t k = 1;
    for (int row = 0; row < 5; ++row)
      for (int i = 0; i <= row; ++i) {
        balls[k].name = "red-" + std::to_string(k);
        balls[k++].place = Vec2((i - 0.5 * row) * 0.0527, 0.950 + row * 0.0458);
      }
    const Vec2 spots[6] = {{0.292, -1.0475}, {-0.292, -1.0475}, {0, -1.0475}, {0, 0}, {0, 0.8922}, {0, 1.4605}};
    for (const Vec2& s : spots) {
      balls[k].name = "colour-" + std::to_string(k);
      balls[k++].place = s;
    }
    return balls;
  }
  const Vec2 places[6] = {{0.15, 0.3}, {-0.4, 0.9}, {0.5, 1.2}, {-0.5, -0.3}, {0.6, -0.6}, {-0.2, 1.4}};
  for (int i = 1; i < count; ++i) {
    balls[static_cast<std::size_t>(i)].name = "red-" + std::to_string(i);
    balls[static_cast<std::size_t>(i)].place = places[i - 1];
  }
  return balls;
}

Strike strike_for(long k) {
  Strike s;
  s.speed = 3.8 + 0.02 * static_cast<double>(k % 20);
  s.heading = 0.01 + 0.002 * static_cast<double>(k % 37);
  s.right = 0.02 * static_cast<double>(k % 11 - 5);
  s.height = 0.03 * static_cast<double>(k % 7 - 3);
  return s;
}

table::Table full_size() {
  set_data_folder(BAIZETRACE_SOURCE);
  return table::Table(*table::read_spec("full-size"));
}

// The event loop alone, buffers used again, as the fits and the route search call it.
void shots(benchmark::State& state) {
  const auto table = full_size();
  const auto balls = balls_for(static_cast<int>(state.range(0)));
  Simulator simulator(table, {});
  std::vector<Body> bodies;
  std::vector<State> start;
  for (const Ball& b : balls) {
    bodies.push_back({b.radius, b.mass});
    start.push_back({b.place, Vec2::Zero(), Vec3::Zero()});
  }
  long k = 0, steps = 0;
  for (auto _ : state) {
    start[0] = struck(strike_for(k++), balls[0].place, balls[0].radius);
    simulator.run(bodies, start, 20000);
    steps += simulator.steps();
    benchmark::DoNotOptimize(simulator.total_time());
  }
  state.counters["shots/s"] = benchmark::Counter(static_cast<double>(k), benchmark::Counter::kIsRate);
  state.counters["events/shot"] = static_cast<double>(steps) / static_cast<double>(k);
}
BENCHMARK(shots)->Arg(1)->Arg(3)->Arg(7)->Arg(22);

// With input checked and the whole Prediction made, as `predict` calls it.
void predictions(benchmark::State& state) {
  const auto table = full_size();
  const auto balls = balls_for(static_cast<int>(state.range(0)));
  const Conditions conditions;
  long k = 0;
  for (auto _ : state) {
    const auto p = simulate(table, conditions, balls, strike_for(k++));
    benchmark::DoNotOptimize(p->total_time);
  }
  state.counters["shots/s"] = benchmark::Counter(static_cast<double>(k), benchmark::Counter::kIsRate);
}
BENCHMARK(predictions)->Arg(3)->Arg(22);

#ifdef BAIZETRACE_ODE
// ODE, a general rigid-body engine, at fixed steps over the same shots for as long as ours last: for its speed alone,
// it has no rolling resistance and no model of a cushion. Arguments: balls, step in microseconds.
void ode(benchmark::State& state) {
  const auto table = full_size();
  const auto balls = balls_for(static_cast<int>(state.range(0)));
  const double step = 1e-6 * static_cast<double>(state.range(1));
  dInitODE();
  long k = 0;
  for (auto _ : state) {
    state.PauseTiming();
    const auto p = simulate(table, Conditions{}, balls, strike_for(k));
    const State start = struck(strike_for(k++), balls[0].place, balls[0].radius);
    struct Scene {
      dWorldID world = dWorldCreate();
      dSpaceID space = dSimpleSpaceCreate(nullptr);
      dJointGroupID contacts = dJointGroupCreate(0);
    } scene;
    dWorldSetGravity(scene.world, 0, 0, -kGravity);
    dCreatePlane(scene.space, 0, 0, 1, 0);
    dCreatePlane(scene.space, 1, 0, 0, -table.half_width());
    dCreatePlane(scene.space, -1, 0, 0, -table.half_width());
    dCreatePlane(scene.space, 0, 1, 0, -table.half_length());
    dCreatePlane(scene.space, 0, -1, 0, -table.half_length());
    for (const Ball& b : balls) {
      const dBodyID body = dBodyCreate(scene.world);
      dMass mass;
      dMassSetSphereTotal(&mass, b.mass, b.radius);
      dBodySetMass(body, &mass);
      dBodySetPosition(body, b.place.x(), b.place.y(), b.radius);
      if (&b == &balls[0]) {
        dBodySetLinearVel(body, start.velocity.x(), start.velocity.y(), 0);
        dBodySetAngularVel(body, start.spin.x(), start.spin.y(), start.spin.z());
      }
      const dGeomID geom = dCreateSphere(scene.space, b.radius);
      dGeomSetBody(geom, body);
    }
    state.ResumeTiming();
    for (double t = 0; t < p->total_time; t += step) {
      dSpaceCollide(scene.space, &scene, [](void* data, dGeomID a, dGeomID b) {
        Scene& s = *static_cast<Scene*>(data);
        dContact c;
        if (dCollide(a, b, 1, &c.geom, sizeof c) == 0) return;
        c.surface.mode = dContactApprox1 | dContactBounce;
        c.surface.mu = 0.2;
        c.surface.bounce = 0.9;
        c.surface.bounce_vel = 0.05;
        dJointAttach(dJointCreateContact(s.world, s.contacts, &c), dGeomGetBody(a), dGeomGetBody(b));
      });
      dWorldQuickStep(scene.world, step);
      dJointGroupEmpty(scene.contacts);
    }
    state.PauseTiming();
    dJointGroupDestroy(scene.contacts);
    dSpaceDestroy(scene.space);
    dWorldDestroy(scene.world);
    state.ResumeTiming();
  }
  dCloseODE();
  state.counters["shots/s"] = benchmark::Counter(static_cast<double>(k), benchmark::Counter::kIsRate);
}
BENCHMARK(ode)->ArgsProduct({{1, 3, 7, 22}, {1000, 200}})->Iterations(3)->Unit(benchmark::kMillisecond);
#endif
}  // namespace

BENCHMARK_MAIN();
