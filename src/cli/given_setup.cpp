#include "cli/given_setup.hpp"

namespace baizetrace::cli {

Result<GivenSetup> read_given_setup(const std::string& setup, const std::string& conditions, const std::string& table) {
  auto read = practice::read_setup(setup);
  if (!read) return pass_on(read);
  const auto spec = table::read_spec(table.empty() ? read->table : table);
  if (!spec) return pass_on(spec);
  auto set = table::read_ball_set(spec->balls);
  if (!set) return pass_on(set);
  motion::Conditions cloth;
  if (!conditions.empty()) {
    const auto given = motion::read_conditions(conditions);
    if (!given) return pass_on(given);
    cloth = *given;
  }
  return GivenSetup{std::move(*read), table::Table(*spec), std::move(*set), cloth};
}

}  // namespace baizetrace::cli
