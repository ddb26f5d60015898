// Demultiplexing and decoding in one thread's hands: shown frames one by one, and what reading came to.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "video/clip.hpp"
#include "video/container.hpp"
#include "video/planes.hpp"

namespace baizetrace::video {

class Decoder {
 public:
  // Opens the file and decodes its first frame, so that what cannot be decoded is refused here.
  static Result<Decoder> open(const std::string& file, int threads);

  [[nodiscard]] const ClipInfo& info() const { return info_; }
  // The next shown frame; nullopt: the end, and end() is final.
  std::optional<Frame> read();
  Result<Done> seek(double time);
  [[nodiscard]] const ClipEnd& end() const { return end_; }

 private:
  Decoder() : maker_(Turn::none) {}
  // The next picture that the decoder gives out, with its timestamp; false: no more.
  bool next_picture();
  // Hands the decoder one more packet, or the end.
  void feed();
  [[nodiscard]] std::string what_changed() const;  // "" when the picture is like the first
  // Whether this picture's packet was damaged, or one that it may be predicted from.
  void judge(std::int64_t ticks, Frame& frame);
  void close(std::string why);
  [[nodiscard]] double time_of(std::int64_t ticks) const;
  Result<Done> jump_to(std::int64_t ticks);

  std::string file_;
  Container container_;
  std::unique_ptr<Complaints> complaints_ = std::make_unique<Complaints>();  // outlives codec_, which holds its address
  CodecPtr codec_;
  FramePtr picture_;
  PacketPtr packet_;
  PlaneMaker maker_;
  ClipInfo info_;
  ClipEnd end_;

  double tick_ = 0;         // true seconds per tick
  std::int64_t first_ = 0;  // timestamp of the first shown frame
  bool pending_ = false;    // picture_ holds a frame that read() has not given out yet
  bool drained_ = false, ended_ = false;
  int index_ = 0;
  std::optional<std::int64_t> last_;  // timestamp of the frame given out last
  cv::Mat last_luma_;
  std::vector<std::int64_t> shown_;      // all timestamps, sorted; read at the first seek
  bool from_start_ = true;               // no seek since opening
  std::int64_t packets_ = 0, kept_ = 0;  // read; of them to be shown
  bool last_corrupt_ = false, last_damaged_ = false;
  std::string read_error_;
  // Packets are numbered in the order of decoding, across seeks.
  std::map<std::int64_t, std::int64_t> sent_;  // timestamp -> number of packets whose frame has not come out yet
  std::int64_t serial_ = 0;
  std::set<std::int64_t> keys_, damaged_;  // numbers of key frames sent; of damaged packets
  int width_ = 0, height_ = 0, format_ = -1;
};

}  // namespace baizetrace::video
