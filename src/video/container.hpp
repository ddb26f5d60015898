// Opening a video file, with errors that a player can act on.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "video/ffmpeg.hpp"
#include "video/frame.hpp"

namespace baizetrace::video {

struct Container {
  InputPtr input;
  int stream = -1;  // index of the video stream
  [[nodiscard]] AVStream* video() const { return input->streams[stream]; }
};

// Local files of the usual video containers only: nothing that points to other files or to the network.
// Errors, one line each: no such file; a folder; empty; not a video; a picture; its index is missing; no video stream.
[[nodiscard]] Result<Container> open_container(const std::string& file);

// How the stored picture is to be turned for display. Error: mirrored, or turned by other than a right angle.
[[nodiscard]] Result<Turn> turn_of(const AVStream& stream, const std::string& file);

// What the container announces by its index or header; 0: it does not say.
struct Announced {
  std::int64_t packets = 0;  // that reading to the end should give
  std::int64_t shown = 0;    // of them not cut away by an edit list
};
[[nodiscard]] Announced announced(const AVStream& stream);

// True seconds per container second: below 1 when the file's capture-rate tag says that slow motion is stored
// stretched (FACTS of phones: a 120 frames/s capture in a 30 frames/s stream).
[[nodiscard]] double time_scale_of(const AVFormatContext& input, const AVStream& stream);

// Timestamps (stream ticks) of all packets that will be shown, sorted: from reading the file without decoding.
[[nodiscard]] Result<std::vector<std::int64_t>> shown_timestamps(const std::string& file);

}  // namespace baizetrace::video
