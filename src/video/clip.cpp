#include "video/clip.hpp"

#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>

#include "video/decoder.hpp"

namespace baizetrace::video {

namespace {
// Frames decoded ahead of the reader: evens out key frames, which take several times as long; about 3 MB each at 1080p.
constexpr std::size_t kAhead = 4;
}  // namespace

struct Clip::State {
  State(Decoder d, bool read_ahead) : decoder(std::move(d)), info(decoder.info()), threaded(read_ahead) {}
  ~State() { stop(); }

  void start() {
    stopping = false;
    finished = false;
    worker = std::thread([this] {
      for (;;) {
        std::optional<Frame> frame = decoder.read();
        std::unique_lock lock(mutex);
        changed.wait(lock, [this] { return stopping || ahead.size() < kAhead; });
        if (stopping) return;
        if (frame) ahead.push_back(std::move(*frame));
        finished = !frame;
        changed.notify_all();
        if (finished) return;
      }
    });
  }

  void stop() {
    if (!worker.joinable()) return;
    {
      const std::scoped_lock lock(mutex);
      stopping = true;
      changed.notify_all();
    }
    worker.join();
    ahead.clear();
  }

  std::optional<Frame> next() {
    if (!threaded) {
      std::optional<Frame> frame = decoder.read();
      if (!frame) end = decoder.end();
      return frame;
    }
    if (!worker.joinable()) start();
    std::unique_lock lock(mutex);
    changed.wait(lock, [this] { return finished || !ahead.empty(); });
    if (ahead.empty()) {
      end = decoder.end();
      return std::nullopt;
    }
    Frame frame = std::move(ahead.front());
    ahead.pop_front();
    changed.notify_all();
    return frame;
  }

  Decoder decoder;  // the worker's while it runs
  ClipInfo info;
  ClipEnd end;
  bool threaded;

  std::thread worker;
  std::mutex mutex;
  std::condition_variable changed;
  std::deque<Frame> ahead;  // guarded by mutex, like the flags
  bool stopping = false, finished = false;
};

Clip::Clip(std::unique_ptr<State> state) : state_(std::move(state)) {}
Clip::Clip(Clip&&) noexcept = default;
Clip& Clip::operator=(Clip&&) noexcept = default;
Clip::~Clip() = default;

Result<Clip> Clip::open(const std::string& file, const ClipOptions& options) {
  auto decoder = Decoder::open(file, options.threads);
  if (!decoder) return pass_on(decoder);
  return Clip(std::make_unique<State>(std::move(*decoder), options.read_ahead));
}

const ClipInfo& Clip::info() const { return state_->info; }
std::optional<Frame> Clip::next() { return state_->next(); }
const ClipEnd& Clip::end() const { return state_->end; }

Result<Done> Clip::seek(double time) {
  state_->stop();
  state_->end = {};
  return state_->decoder.seek(time);
}

}  // namespace baizetrace::video
