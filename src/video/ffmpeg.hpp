// FFmpeg's C objects, owned; and its log led into ours.
#pragma once

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/avutil.h>
#include <libswscale/swscale.h>
}

#include <cstdint>
#include <memory>
#include <mutex>
#include <set>
#include <string>

namespace baizetrace::video {

struct FreeFrame {
  void operator()(AVFrame* f) const { av_frame_free(&f); }
};
struct FreePacket {
  void operator()(AVPacket* p) const { av_packet_free(&p); }
};
struct FreeCodec {
  void operator()(AVCodecContext* c) const { avcodec_free_context(&c); }
};
struct CloseInput {
  void operator()(AVFormatContext* c) const { avformat_close_input(&c); }
};
// A file being written: its output is closed, the file stays.
struct CloseOutput {
  void operator()(AVFormatContext* c) const {
    if (c->pb) avio_closep(&c->pb);
    avformat_free_context(c);
  }
};
struct FreeScaler {
  void operator()(SwsContext* c) const { sws_freeContext(c); }
};
using FramePtr = std::unique_ptr<AVFrame, FreeFrame>;
using PacketPtr = std::unique_ptr<AVPacket, FreePacket>;
using CodecPtr = std::unique_ptr<AVCodecContext, FreeCodec>;
using InputPtr = std::unique_ptr<AVFormatContext, CloseInput>;
using OutputPtr = std::unique_ptr<AVFormatContext, CloseOutput>;
using ScalerPtr = std::unique_ptr<SwsContext, FreeScaler>;

// FFmpeg's own words for an error code.
[[nodiscard]] std::string ffmpeg_error(int code);

// From now on FFmpeg writes nothing itself; its lines reach our log at debug level. Once is enough; cheap to repeat.
void quiet_ffmpeg();

// Which packets a decoder complained about while it decoded them.
//
// The flags on a frame are not enough: with frame threads they are set or not by who comes first, and some decoders
// set none. A decoder's complaints carry its context, and the context the serial number of the packet in work, also
// in the decoder's own threads: the same packets are named on one thread or four.
class Complaints {
 public:
  // Makes `codec` report here; before avcodec_open2. This object must outlive the codec and stay where it is.
  void listen_to(AVCodecContext& codec);
  // Before a packet is sent: what it is called.
  static void name_packet(AVCodecContext& codec, std::int64_t serial);
  // Moves the packets complained about, up to this serial number, into `packets`.
  void take_up_to(std::int64_t serial, std::set<std::int64_t>& packets);
  void clear();
  void add(std::int64_t serial);  // by the log, from any thread

 private:
  std::mutex mutex_;
  std::set<std::int64_t> serials_;
};

}  // namespace baizetrace::video
