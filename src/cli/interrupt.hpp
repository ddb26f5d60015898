// Ctrl-C as a question that a long job asks, instead of an end in the middle of a file.
#pragma once

namespace baizetrace::cli {

// From here on the first Ctrl-C (SIGINT) or SIGTERM is only remembered; a second one ends the program at once.
void listen_for_interrupts();
[[nodiscard]] bool interrupted();

}  // namespace baizetrace::cli
