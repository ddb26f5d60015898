#include "cli/interrupt.hpp"

#include <csignal>

namespace baizetrace::cli {
namespace {

volatile std::sig_atomic_t asked = 0;
void remember(int) { asked = 1; }

}  // namespace

void listen_for_interrupts() {
  struct sigaction once {};
  once.sa_handler = remember;
  once.sa_flags = static_cast<int>(SA_RESETHAND | SA_RESTART);  // the second one has its usual effect
  sigaction(SIGINT, &once, nullptr);
  sigaction(SIGTERM, &once, nullptr);
}

bool interrupted() { return asked != 0; }

}  // namespace baizetrace::cli
