// truth_check SESSION TRUTH [SESSION TRUTH ...]: each session beside its truth, and all pooled, as the rows of
// DESIGN.md section 9. Exit code 1 when a file cannot be read.
#include <fmt/format.h>

#include <cstdio>

#include "truth_check/figures.hpp"

int main(int argc, char** argv) {
  using namespace baizetrace;
  if (argc < 3 || argc % 2 == 0) {
    fmt::print(stderr, "usage: truth_check SESSION TRUTH [SESSION TRUTH ...]\n");
    return 2;
  }
  truth_check::Figures all;
  for (int i = 1; i + 1 < argc; i += 2) {
    const auto session = practice::read_session(argv[i]);
    const auto truth = truth_check::read_truth(argv[i + 1]);
    if (!session || !truth) {
      fmt::print(stderr, "truth_check: {}\n", session ? truth.error().what : session.error().what);
      return 1;
    }
    const auto f = truth_check::compare(*session, *truth);
    fmt::print("{}\n", truth_check::table_of(argv[i], f));
    all.pool(f);
  }
  if (argc > 3) fmt::print("{}\n", truth_check::table_of("all pooled", all));
  return 0;
}
