// Work shared out over threads.
#pragma once

#include <atomic>
#include <functional>
#include <thread>
#include <vector>

namespace baizetrace {

// So many are kept busy: a player's small computer has as many cores.
inline constexpr int kThreads = 2;

// Jobs by index; each writes its own place only, so the result is the same on any number of threads.
inline void share_out(int jobs, int threads, const std::function<void(int)>& job) {
  std::atomic<int> next{0};
  const auto work = [&] {
    for (int i = next++; i < jobs; i = next++) job(i);
  };
  std::vector<std::thread> others;
  for (int k = 1; k < threads; ++k) others.emplace_back(work);
  work();
  for (std::thread& t : others) t.join();
}

}  // namespace baizetrace
