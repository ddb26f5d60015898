// A measured session looked at again: judged by a setup, and written back with its report.
#pragma once

#include "cli/session_file.hpp"

namespace baizetrace::cli {

struct Judged {
  std::vector<std::optional<practice::Setup>> setup_of_group;
  std::vector<std::size_t> was;   // of each attempt now: its index before
  std::vector<std::string> said;  // of each attempt before: its sentence
};

// Sorts and scores the attempts by a setup. Error: the setup is for another table.
[[nodiscard]] Result<Judged> judge_by(OldSession& old, const practice::Setup& setup, const std::string& file);
// The same attempts, meant as the session says.
[[nodiscard]] Judged judged_before(const OldSession& old);

// session.json and report.html. A picture whose caption would say something else now is left out of the page; the plan
// stands there then. attempt-NN.svg is drawn again.
[[nodiscard]] Result<Done> write_back(OldSession& old, const Judged& judged);

}  // namespace baizetrace::cli
