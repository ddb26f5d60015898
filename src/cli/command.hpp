// A command: a name, a line of help, and what it does. One file a command; commands.cpp holds the table.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <span>

#include "base/error.hpp"

namespace baizetrace::cli {

// What a parsed command runs; an error is printed as one line on standard error, exit code 1.
using Run = std::function<Result<Done>()>;

struct Command {
  const char* name;
  const char* summary;  // one line, for the list of commands
  // Declares the command's arguments on `app`; returns what to run once they are parsed.
  Run (*declare)(CLI::App& app);
};

[[nodiscard]] std::span<const Command> commands();

// The whole program: exit code 0 done, 1 the work could not be done, 2 wrong usage.
int run_program(int argc, char** argv);

// One declaration a command, each defined in its own file and listed in commands.cpp.
Run declare_card(CLI::App& app);
Run declare_compare(CLI::App& app);
Run declare_cut(CLI::App& app);
Run declare_demo(CLI::App& app);
Run declare_measure(CLI::App& app);
Run declare_predict(CLI::App& app);
Run declare_register(CLI::App& app);
Run declare_inspect(CLI::App& app);
Run declare_lens(CLI::App& app);
Run declare_routes(CLI::App& app);
Run declare_score(CLI::App& app);
Run declare_tune(CLI::App& app);
Run declare_journal(CLI::App& app);

}  // namespace baizetrace::cli
