// Recordings of the table as they leave the program: the bed alone, the path drawn in as it happens.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "camera/rig.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "report/moving.hpp"
#include "sight/people.hpp"
#include "table/table.hpp"
#include "video/clip.hpp"
#include "video/film.hpp"

namespace baizetrace::cli {

// One clip of a session, frame by frame, as pictures that may be shared.
class Shared {
 public:
  // `only_the_bed`: everything else and everyone over it covered. Errors: the clip cannot be read; the rig is for
  // another picture; the cloth cannot be told (then nobody can be covered, and it is said so).
  // `moves`: what happened to the mount in this clip.
  static Result<Shared> open(const std::string& file, const camera::Rig& rig, std::vector<practice::RigMove> moves,
                             const table::Table& table, double ball_radius, bool only_the_bed);

  [[nodiscard]] const video::ClipInfo& info() const { return clip_->info(); }
  Result<Done> seek(double time) { return clip_->seek(time); }
  struct Picture {
    double time = 0;
    cv::Mat bgr;
  };
  // `balls`: where balls may be at a time. A damaged frame shows the picture before it: what is in it cannot be judged.
  std::optional<Picture> next(const std::function<std::vector<Vec2>(double)>& balls);
  [[nodiscard]] const video::ClipEnd& end() const { return clip_->end(); }
  // By how much a place is exposed after the frame's time, s.
  [[nodiscard]] double later(const Vec2& at) const;
  // As the camera stood in the frame given last, or at the time that was asked for last.
  [[nodiscard]] const camera::Rig& rig() const { return rig_; }
  // Error: the cloth cannot be told from where the camera then stands.
  Result<Done> stand_at(double time);
  [[nodiscard]] double ball_radius() const { return ball_radius_; }

 private:
  Shared(camera::Rig rig, table::Table table) : rig_(std::move(rig)), first_(rig_), table_(std::move(table)) {}
  camera::Rig rig_, first_;
  table::Table table_;
  std::vector<practice::RigMove> moves_;
  int pose_ = -1;  // so many moves before it
  bool only_the_bed_ = true;
  double ball_radius_ = 0.02625;
  std::unique_ptr<video::Clip> clip_;
  std::unique_ptr<sight::People> people_;  // none: the whole picture is shown
  cv::Mat last_;
};

// Where places lie on the camera's picture as it stands (an affine map onto a canvas laid over it). `shared` must stay.
[[nodiscard]] report::Onto onto_picture(const Shared& shared, const cv::Matx23d& canvas_from_picture);

// The lines in the corner: attempt, then verdict and score once it is over.
struct Badge {
  std::string first, second;
};
[[nodiscard]] Badge badge_of(const practice::Attempt& attempt, const table::Table& table, const practice::Setup* setup,
                             double time);

struct OverlayOptions {
  std::string clip, output;
  int index = 0;  // which of the session's clips it is
  bool only_the_bed = true;
  bool mute = false;
  int slow = 1;  // around contacts pictures last so many times longer
  std::function<void(double share, const std::string& doing)> progress;
  std::function<bool()> stopped;
};
struct Overlaid {
  int pictures = 0;
  std::vector<std::string> notes;
};
// The whole clip with the paths of `session` drawn in. Memory does not grow with its length.
[[nodiscard]] Result<Overlaid> overlay(const practice::Session& session, const camera::Rig& rig,
                                       const table::Table& table, double ball_radius,
                                       const std::vector<std::optional<practice::Setup>>& setups,
                                       const OverlayOptions& options);

inline constexpr double kLead = 2, kTail = 1;  // s of a clip before the strike and after rest

// The session's moves of one clip's mount.
[[nodiscard]] std::vector<practice::RigMove> moves_of(const practice::Session& session, int clip);

// From -> to of an attempt's clip, within the recording.
[[nodiscard]] std::pair<double, double> span_of(const practice::Attempt& attempt);

}  // namespace baizetrace::cli
