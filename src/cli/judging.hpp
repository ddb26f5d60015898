// A measured session looked at again: judged by a setup, and written back with its report.
#pragma once

#include "cli/session_file.hpp"

namespace baizetrace::cli {

// What the picture of an attempt says and draws beside the film itself.
struct Shown {
  std::string outcome;         // its sentence without the pace
  std::optional<double> pace;  // m/s, where it is told
  std::vector<Vec2> predicted;
};

struct Judged {
  std::vector<std::optional<practice::Setup>> setup_of_group;
  std::vector<std::size_t> was;  // of each attempt now: its index before
  std::vector<Shown> shown;      // of each attempt before
};

// Sorts and scores the attempts by a setup. Error: the setup is for another table.
[[nodiscard]] Result<Judged> judge_by(OldSession& old, const practice::Setup& setup, const std::string& file);
// The same attempts, meant as the session says.
[[nodiscard]] Judged judged_before(const OldSession& old);

// session.json and report.html. A picture that does not hold any more is left out of the page, and the plan stands
// there: when the outcome is told otherwise, the pace by more than 1 %, or the drawn prediction lies more than 1 cm
// off. attempt-NN.svg is drawn again.
[[nodiscard]] Result<Done> write_back(OldSession& old, const Judged& judged);

}  // namespace baizetrace::cli
