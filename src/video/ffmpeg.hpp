// FFmpeg's C objects, owned; and its log led into ours.
#pragma once

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/avutil.h>
#include <libswscale/swscale.h>
}

#include <memory>
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
struct FreeScaler {
  void operator()(SwsContext* c) const { sws_freeContext(c); }
};
using FramePtr = std::unique_ptr<AVFrame, FreeFrame>;
using PacketPtr = std::unique_ptr<AVPacket, FreePacket>;
using CodecPtr = std::unique_ptr<AVCodecContext, FreeCodec>;
using InputPtr = std::unique_ptr<AVFormatContext, CloseInput>;
using ScalerPtr = std::unique_ptr<SwsContext, FreeScaler>;

// FFmpeg's own words for an error code.
[[nodiscard]] std::string ffmpeg_error(int code);

// From now on FFmpeg writes nothing itself; its lines reach our log at debug level. Once is enough; cheap to repeat.
void quiet_ffmpeg();

}  // namespace baizetrace::video
