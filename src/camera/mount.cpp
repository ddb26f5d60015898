#include "camera/mount.hpp"
#include "base/median.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace baizetrace::camera {

namespace {
constexpr double kEvery = 1.0 / 45;  // s: a camera that stands still is looked at no more often than this
constexpr double kJolt = 0.5;        // px: a knock moves the picture by more between two frames
constexpr double kJoltNoise = 4;     // or by this many times what frames scatter
constexpr double kNoiseMost = 0.4;   // px
constexpr int kBelieved = 2;         // frames in a row
constexpr double kSagWindow = 1.0;   // s
constexpr std::size_t kSagFrames = 12;
constexpr double kSag = 0.25;  // px: corrected from there on; half a millimetre on usual rigs
// An encoder short of bits holds on to old pictures: its errors last, and averaging does not lessen them.
constexpr double kSagNoise = 2;   // of what frames scatter
constexpr double kSagTold = 0.3;  // px: worth telling
constexpr double kSettle = 0.4;   // s
constexpr std::size_t kSettleFrames = 6;
constexpr double kStill = 0.2;        // px
constexpr double kShakeShare = 0.4;   // of the movement from frame to frame: what rows and exposure make of it
constexpr double kShakeFloor = 0.1;   // px
constexpr double kSearchEvery = 0.1;  // s
constexpr double kBlind = 1.5;        // s: people who lean over a table cover it for less
constexpr int kBlindFrames = 8;
constexpr double kSearchShare = 0.4;  // of the patches, for a place found far off to be believed
constexpr double kForever = std::numeric_limits<double>::infinity();

// The step from one pose to another, as stepped() takes it.
std::pair<Vec3, Vec3> step_between(const Pose& a, const Pose& b) {
  const Mat3 turn = b.R * a.R.transpose();
  const Eigen::AngleAxisd aa(turn);
  return {aa.angle() * aa.axis(), b.t - turn * a.t};
}
}  // namespace

Mount::Mount(const cv::Mat& reference, const Camera& camera, const table::Table& table)
    : watch_(reference, camera, &table), table_(table), pose_(camera.pose), before_(camera.pose) {}

// The middle of the poses seen lately, told by where they put the bed: the mean of the half that are nearest to the
// middle places. Not the middle number by number: turns and shifts go together, and where frames of two minds meet (a
// player leaves the table) the middles of each belong to no pose that was seen.
Pose Mount::middle_of_recent() const {
  struct Told {
    std::vector<Vec2> shifts;
    double off = 0;  // px^2, of the middle places
    const Pose* pose = nullptr;
  };
  std::vector<Told> all;
  for (const Seen& s : recent_) all.push_back({watch_.shifts(pose_, s.pose), 0, &s.pose});
  std::vector<double> x, y;
  for (std::size_t i = 0; i < all.front().shifts.size(); ++i) {
    x.clear(), y.clear();
    for (const Told& t : all) x.push_back(t.shifts[i].x()), y.push_back(t.shifts[i].y());
    const Vec2 middle(upper_median(x), upper_median(y));
    for (Told& t : all) t.off += (t.shifts[i] - middle).squaredNorm();
  }
  std::stable_sort(all.begin(), all.end(), [](const Told& a, const Told& b) { return a.off < b.off; });
  all.resize((all.size() + 1) / 2);
  Vec3 w = Vec3::Zero(), v = Vec3::Zero();
  for (const Told& t : all) {
    const auto [turn, shift] = step_between(pose_, *t.pose);
    w += turn / static_cast<double>(all.size());
    v += shift / static_cast<double>(all.size());
  }
  return stepped(pose_, w, v);
}

double Mount::jolt() const { return std::max(kJolt, kJoltNoise * noise_); }

void Mount::begin_lost(double time) {
  if (lost_.empty() || lost_.back().to != kForever) lost_.push_back({time, kForever});
}

// Found where it was: it was only covered, nothing was lost.
void Mount::end_lost(double time, bool elsewhere) {
  if (lost_.empty() || lost_.back().to != kForever) return;
  if (elsewhere)
    lost_.back().to = time;
  else
    lost_.pop_back();
}

std::optional<Glance> Mount::look_wide(const video::Frame& frame) {
  if (blind_ > kBlindFrames && frame.time - searched_ < kSearchEvery) return std::nullopt;
  searched_ = frame.time;
  const Glance g = watch_.search(frame.luma, pose_);
  if (!g.tells || g.share < kSearchShare) return std::nullopt;
  return g;
}

Mount::Now Mount::push(const video::Frame& frame) {
  Now now;
  now.camera = watch_.camera();
  now.camera.pose = pose_;
  if (!can_tell()) return now;
  now.known = lost_.empty() || lost_.back().to != kForever;
  if (frame.damaged || frame.repeated) return now;
  if (state_ == State::still && suspicious_ == 0 && blind_ == 0 && frame.time >= looked_ &&
      frame.time - looked_ < kEvery)
    return now;
  const bool first = looked_ < 0;
  looked_ = frame.time;
  if (first) {
    // The reference may be of another moment: where the camera stands to begin with is no news.
    Glance g = watch_.glance(frame.luma, pose_);
    if (!g.tells) g = watch_.search(frame.luma, pose_);
    if (g.tells && g.share > kSearchShare && g.shift_pixels > jolt()) {
      pose_ = g.pose;
      now.changed = true;
    }
  }
  if (state_ == State::still)
    stand(frame, now);
  else
    shake(frame, now);
  now.camera.pose = pose_;
  return now;
}

void Mount::stand(const video::Frame& frame, Now& now) {
  Glance g = watch_.glance(frame.luma, pose_);
  bool tells = g.tells;
  if (!tells)
    if (const auto wide = look_wide(frame)) g = *wide, tells = true;
  // A smeared picture that seems to have moved: nothing can be said by it.
  if (tells && g.share < kSearchShare && g.shift_pixels > jolt()) tells = false;
  if (!tells) {
    if (!blind_since_) blind_since_ = frame.time;
    ++blind_;
    if (frame.time - *blind_since_ > kBlind && blind_ > kBlindFrames) {
      begin_lost(*blind_since_);
      now.known = false;
    }
    return;
  }
  const bool off = g.shift_pixels > std::max(jolt(), 4 * g.u_pixels);
  const double blind_from = blind_since_.value_or(frame.time);
  blind_ = 0;
  blind_since_.reset();
  if (!off) {
    end_lost(frame.time, false);
    now.known = true;
    suspicious_ = 0;
    if (!recent_.empty()) {
      const double step = watch_.apart(recent_.back().pose, g.pose).pixels;
      noise_ = std::min(kNoiseMost, std::sqrt(noise_ * noise_ + 0.05 * (0.5 * step * step - noise_ * noise_)));
    }
    recent_.push_back({frame.time, g.pose});
    while (recent_.front().time < frame.time - kSagWindow) recent_.pop_front();
    follow_sag(frame.time, now);
    return;
  }
  now.known = false;
  if (suspicious_++ == 0) suspicious_since_ = blind_from;
  if (suspicious_ < kBelieved) return;
  // A knock.
  if (const auto sag = sag_so_far()) moves_.push_back(*sag);
  sag_.reset();
  before_ = pose_;
  move_from_ = suspicious_since_;
  suspicious_ = 0;
  state_ = State::moving;
  recent_.clear();
  pose_ = g.pose;
  recent_.push_back({frame.time, g.pose});
  now.changed = true;
  now.known = true;
  now.u = kShakeShare * g.shift / kBelieved;
}

// The middle of the last second's poses lies off the pose in use: the mount sags.
void Mount::follow_sag(double time, Now& now) {
  if (recent_.size() < kSagFrames || time - recent_.front().time < 0.8 * kSagWindow) return;
  const Pose middle = middle_of_recent();
  const double off = watch_.apart(pose_, middle).pixels;
  if (off < std::max(kSag, kSagNoise * noise_)) return;
  if (!sag_) {
    sag_.emplace();
    sag_->from = recent_.front().time;
    sag_->slow = true;
    sag_->before = pose_;
  }
  pose_ = middle;
  sag_->to = time;
  sag_->after = middle;
  recent_.clear();
  now.changed = true;
}

void Mount::shake(const video::Frame& frame, Now& now) {
  Glance g = watch_.glance(frame.luma, pose_);
  bool tells = g.tells;
  if (!tells)
    if (const auto wide = look_wide(frame)) g = *wide, tells = true;
  if (!tells) {
    if (!blind_since_) blind_since_ = frame.time;
    ++blind_;
    now.known = false;
    if (frame.time - *blind_since_ > kBlind && blind_ > kBlindFrames) begin_lost(*blind_since_);
    return;
  }
  end_lost(frame.time, true);
  blind_ = 0;
  blind_since_.reset();
  const Watch::Apart step = watch_.apart(pose_, g.pose);
  now.known = true;
  now.u = kShakeShare * step.metres + kShakeFloor * step.metres / std::max(1e-9, step.pixels);
  pose_ = g.pose;
  now.changed = true;
  recent_.push_back({frame.time, g.pose});
  while (recent_.front().time < frame.time - kSettle) recent_.pop_front();
  if (recent_.size() < kSettleFrames || frame.time - recent_.front().time < 0.8 * kSettle) return;
  const Pose middle = middle_of_recent();
  for (const Seen& s : recent_)
    if (watch_.apart(middle, s.pose).pixels > std::max(kStill, 2.5 * noise_)) return;
  // Still again.
  pose_ = middle;
  const Watch::Apart all = watch_.apart(before_, middle);
  moves_.push_back({move_from_, recent_.front().time, all.pixels, all.metres, false, true, before_, middle});
  state_ = State::still;
}

// What the sag came to; nothing when it is too little to tell.
std::optional<Move> Mount::sag_so_far() const {
  if (!sag_) return std::nullopt;
  Move sag = *sag_;
  const Watch::Apart all = watch_.apart(sag.before, sag.after);
  sag.pixels = all.pixels;
  sag.metres = all.metres;
  return sag.pixels > kSagTold ? std::optional(sag) : std::nullopt;
}

std::vector<Move> Mount::moves() const {
  std::vector<Move> out = moves_;
  if (const auto sag = sag_so_far()) out.push_back(*sag);
  if (state_ == State::moving) {
    const Watch::Apart all = watch_.apart(before_, pose_);
    out.push_back({move_from_, looked_, all.pixels, all.metres, false, false, before_, pose_});
  }
  return out;
}

std::vector<Lost> Mount::lost() const { return lost_; }

std::optional<double> Mount::lost_since() const {
  if (lost_.empty() || lost_.back().to != kForever) return std::nullopt;
  return lost_.back().from;
}

void Mount::found(const cv::Mat& reference, const Camera& camera, const table::Table& table, double time) {
  const Pose before = pose_;
  if (const auto sag = sag_so_far()) moves_.push_back(*sag);
  sag_.reset();
  watch_ = Watch(reference, camera, &table);
  table_ = table;
  pose_ = camera.pose;
  const double from = lost_since().value_or(time);
  const Watch::Apart all = watch_.apart(before, pose_);
  moves_.push_back({from, time, all.pixels, all.metres, false, true, before, pose_});
  end_lost(time, true);
  state_ = State::still;
  recent_.clear();
  suspicious_ = blind_ = 0;
  blind_since_.reset();
}

}  // namespace baizetrace::camera
