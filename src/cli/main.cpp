#include "cli/command.hpp"

int main(int argc, char** argv) { return baizetrace::cli::run_program(argc, argv); }
