#include "sight/cloth.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "base/median.hpp"
#include "base/threads.hpp"
#include "sight/cloth_field.hpp"
#include "sight/cloth_rows.hpp"

namespace baizetrace::sight {

namespace {

constexpr float kBlackLuma = 16;     // level of black, video range
constexpr float kGrey = 128;         // chroma's zero
constexpr int kTogether = 32;        // coarse pixels
constexpr double kStripes = 8;       // of rows that threads share
constexpr int kChunks = 12;          // of a row, for its gain: a median over them leaves people out
constexpr int kGainSmooth = 4;       // coarse rows either side
constexpr double kEdgeSlack = 0.20;  // px: how far edges of the picture may shake
constexpr float kChanged = 16;       // sum of squares of changes, in tolerated variances: 4 sigma
constexpr float kShadeDarkest = 0.5F, kShadeBrightest = 2.5F;  // what shadows make of cloth, or what it was learnt in
// Times the best lit cloth that was learnt: beyond, it is a white ball on grey cloth (1.9 in a drawn clip), no lamp.
// At 1.3 the highlight of a green ball on green cloth was taken for more than shade, and its rest was 0.4 mm worse.
constexpr float kMostLit = 1.6F;
constexpr float kGuessDarkest = 0.6F, kGuessBrightest = 1.8F, kGuessSlack = 4;  // the same of cloth that was filled in
constexpr float kUncovered = 1.05F;  // times as bright, in the cloth's hue: a shadow that it was learnt in has gone
constexpr int kVisits = 8;           // a coarse row is followed every so many frames
constexpr float kFollow = 0.12F;     // share of the new at a visit: about 2 s at 30 frames/s
constexpr int kTakeOverVisits = 5;   // visits a thing must stand still to become background, where it may

// Median of a few pictures, pixel by pixel: sorts copies by exchanges of whole bands.
cv::Mat median_of(const std::vector<cv::Mat>& pictures) {
  constexpr int kBands = 4;
  cv::Mat out(pictures[0].size(), pictures[0].type());
  share_out(kBands, kThreads, [&](int band) {
    const cv::Range rows(out.rows * band / kBands, out.rows * (band + 1) / kBands);
    std::vector<cv::Mat> v;
    for (const cv::Mat& p : pictures) v.push_back(p.rowRange(rows).clone());
    cv::Mat low;
    for (std::size_t i = 0; i <= v.size() / 2; ++i)
      for (std::size_t j = v.size() - 1; j > i; --j) {
        cv::min(v[j - 1], v[j], low);
        cv::max(v[j - 1], v[j], v[j]);
        std::swap(low, v[j - 1]);
      }
    v[v.size() / 2].copyTo(out.rowRange(rows));
  });
  return out;
}

bool bands_by_row(const video::Frame& frame) {
  return frame.turn == video::Turn::none || frame.turn == video::Turn::half;
}

}  // namespace

Result<Done> Cloth::learn(std::span<const video::Frame> frames, std::span<const Ellipse> doubted) {
  if (frames.empty()) return fail("no frame to learn the cloth from");
  const int w = frames[0].width(), h = frames[0].height();
  std::array<std::vector<cv::Mat>, 3> stack;
  for (const video::Frame& f : frames) {
    stack[0].push_back(f.luma);
    stack[1].push_back(f.cb);
    stack[2].push_back(f.cr);
  }
  // First the median, then the mean of what agrees with it once each frame's brightness is taken out.
  median_of(stack[0]).convertTo(luma_, CV_32F);
  median_of(stack[1]).convertTo(cb_, CV_32F);
  median_of(stack[2]).convertTo(cr_, CV_32F);
  noise_luma_ = noise_chroma_ = 2;
  known_ = cv::Mat(region_->rows, region_->cols, CV_8U, cv::Scalar(1));
  cv::resize(luma_, coarse_, {region_->cols, region_->rows}, 0, 0, cv::INTER_AREA);

  cv::Mat sum[3], count[3];
  const cv::Mat first[3] = {luma_.clone(), cb_.clone(), cr_.clone()};
  std::array<std::vector<float>, 3> scatter;
  for (int k = 0; k < 3; ++k) {
    sum[k] = cv::Mat::zeros(first[k].size(), CV_32F);
    count[k] = cv::Mat::zeros(first[k].size(), CV_32F);
  }
  std::vector<Gain> gains;
  cv::Mat halves;
  for (const video::Frame& f : frames) {
    halve(f, halves);
    gains.push_back(gain_of(f, halves));
  }
  for (int k = 0; k < 3; ++k) {
    const float zero = k == 0 ? kBlackLuma : kGrey;
    const int per = k == 0 ? 1 : 2;
    const int y0 = 2 / per * region_->box.y, y1 = std::min(first[k].rows, y0 + 2 / per * region_->box.height);
    std::vector<std::vector<float>> scatters(static_cast<std::size_t>(std::max(0, y1 - y0)));
    cv::parallel_for_(cv::Range(y0, std::max(y0, y1)), [&](const cv::Range& rows) {
      constexpr float kAgrees = 12;  // levels
      constexpr int kFew = 128;
      const int cols = first[k].cols;
      std::vector<float> row_gain(static_cast<std::size_t>(cols));
      for (int y = rows.start; y < rows.end; ++y) {
        const auto* base = first[k].ptr<float>(y);
        auto* s = sum[k].ptr<float>(y);
        auto* c = count[k].ptr<float>(y);
        auto& row_scatter = scatters[static_cast<std::size_t>(y - y0)];
        for (std::size_t f = 0; f < frames.size(); ++f) {
          const auto* in = stack[static_cast<std::size_t>(k)][f].ptr<std::uint8_t>(y);
          if (gains[f].by_row)
            std::fill(row_gain.begin(), row_gain.end(), 1 / gains[f].at(0, per * y));
          else
            for (int x = 0; x < cols; ++x) row_gain[static_cast<std::size_t>(x)] = 1 / gains[f].at(per * x, 0);
          add_agreeing(in, row_gain.data(), zero, base, kAgrees, cols, s, c);
          // One pixel in so many tells how they scatter, each row others.
          for (int x = y * 13 % kFew; x < cols; x += kFew)
            row_scatter.push_back(std::abs((in[x] - zero) * row_gain[static_cast<std::size_t>(x)] + zero - base[x]));
        }
      }
    });
    for (const auto& r : scatters) {
      auto& all = scatter[static_cast<std::size_t>(k)];
      all.insert(all.end(), r.begin(), r.end());
    }
  }
  cv::Mat* planes[3] = {&luma_, &cb_, &cr_};
  for (int k = 0; k < 3; ++k)
    for (int y = 0; y < first[k].rows; ++y) {
      const auto* s = sum[k].ptr<float>(y);
      const auto* c = count[k].ptr<float>(y);
      auto* out = planes[k]->ptr<float>(y);
      for (int x = 0; x < first[k].cols; ++x)
        if (c[x] > 0) out[x] = s[x] / c[x];
    }
  // The median of few frames lies nearer to each than the truth does: by sqrt(1 - 1/n) and a little.
  const double n = static_cast<double>(frames.size());
  const double small = n > 1 ? 1.0 / std::sqrt(std::max(0.3, 1.0 - 1.2 / n)) : 1.5;
  if (!scatter[0].empty()) noise_luma_ = std::max(0.7, 1.4826 * small * static_cast<double>(upper_median(scatter[0])));
  noise_chroma_ = 0.5;
  for (int k = 1; k < 3; ++k)
    if (!scatter[static_cast<std::size_t>(k)].empty())
      noise_chroma_ = std::max(
          noise_chroma_, 1.4826 * small * static_cast<double>(upper_median(scatter[static_cast<std::size_t>(k)])));

  cv::resize(luma_, coarse_, {region_->cols, region_->rows}, 0, 0, cv::INTER_AREA);
  const auto filled = fill_in_things(*region_, coarse_, luma_, cb_, cr_, noise_luma_, noise_chroma_, doubted);
  if (!filled) return pass_on(filled);
  known_ = filled->known;
  typical_ = filled->typical;
  cv::resize(luma_, coarse_, {region_->cols, region_->rows}, 0, 0, cv::INTER_AREA);
  lit_ = best_lit();

  weight_luma_ = cv::Mat(region_->rows, region_->cols, CV_32F, cv::Scalar(0));
  for (int y = 1; y + 1 < region_->rows; ++y) refresh_tolerance(y);
  weight_chroma_ = 1.0 / (noise_chroma_ * noise_chroma_ + 1.0);
  for (cv::Mat& m : waiting_) m = cv::Mat(region_->rows, region_->cols, CV_32F, cv::Scalar(-100));
  waited_ = cv::Mat::zeros(region_->rows, region_->cols, CV_8U);
  if (luma_.cols != w || luma_.rows != h) return fail("frames of different sizes");
  return Done{};
}

float Cloth::best_lit() const {
  constexpr double kBest = 0.95;  // share of the bed that is darker: what is left may be marks and lines
  std::vector<float> lumas;
  for (int y = 0; y < coarse_.rows; ++y) {
    const auto* kind = region_->kind.ptr<std::uint8_t>(y);
    const auto* known = known_.ptr<std::uint8_t>(y);
    const auto* luma = coarse_.ptr<float>(y);
    for (int x = 0; x < coarse_.cols; ++x)
      if (kind[x] == Region::bed && known[x] != 0) lumas.push_back(luma[x]);
  }
  if (lumas.empty()) return 255 - kBlackLuma;
  const auto at = lumas.begin() + static_cast<std::ptrdiff_t>(kBest * static_cast<double>(lumas.size() - 1));
  std::nth_element(lumas.begin(), at, lumas.end());
  return *at - kBlackLuma;
}

void Cloth::refresh_tolerance(int y) {
  // Half the noise of a pixel after averaging four, plus what a slight shake makes of a slope; compression adds steps.
  constexpr float kSteps = 1.0F;  // levels
  const auto base = static_cast<float>(0.25 * noise_luma_ * noise_luma_ * 1.5) + kSteps * kSteps;
  constexpr auto kSlack = static_cast<float>(0.25 * kEdgeSlack * kEdgeSlack * 0.25);
  tolerance_row(coarse_.ptr<float>(y - 1), coarse_.ptr<float>(y), coarse_.ptr<float>(y + 1), base, kSlack,
                region_->cols, weight_luma_.ptr<float>(y));
}

void Cloth::halve(const video::Frame& frame, cv::Mat& halves) const {
  const cv::Rect box = region_->box;
  halves.create(region_->rows, region_->cols, CV_16U);
  cv::parallel_for_(
      cv::Range(box.y, box.y + box.height),
      [&](const cv::Range& rows) {
        for (int y = rows.start; y < rows.end; ++y)
          coarse_row(frame.luma.ptr<std::uint8_t>(2 * y), frame.luma.ptr<std::uint8_t>(2 * y + 1), box.x,
                     box.x + box.width, halves.ptr<std::uint16_t>(y));
      },
      kStripes);
}

Gain Cloth::gain_of(const video::Frame& frame, const cv::Mat& halves) const {
  Gain g;
  g.by_row = bands_by_row(frame);
  g.step = 2;
  const cv::Rect box = region_->box;
  const int n = g.by_row ? region_->rows : region_->cols;
  g.share.assign(static_cast<std::size_t>(n), 1.0F);
  const int across = g.by_row ? box.width : box.height;
  const int chunk = std::max(4, across / kChunks);
  const int first = g.by_row ? box.y : box.x, last = first + (g.by_row ? box.height : box.width);
  std::vector<std::array<float, kChunks + 1>> seen(static_cast<std::size_t>(n)), bare(static_cast<std::size_t>(n));
  for (auto& s : seen) s.fill(0);
  for (auto& s : bare) s.fill(0);
  for (int y = box.y; y < box.y + box.height; ++y) {
    const auto* row = halves.ptr<std::uint16_t>(y);
    const auto* kind = region_->kind.ptr<std::uint8_t>(y);
    const auto* b = coarse_.ptr<float>(y);
    if (g.by_row) {
      const auto line = static_cast<std::size_t>(y);
      for (int c = 0; c <= kChunks; ++c) {
        const int x0 = box.x + c * chunk,
                  x1 = c == kChunks ? box.x + box.width : std::min(x0 + chunk, box.x + box.width);
        if (x0 >= x1) break;
        const BedSums sums = bed_sums(row, b, kind, Region::bed, x0, x1);
        seen[line][static_cast<std::size_t>(c)] = 0.25F * sums.luma - kBlackLuma * sums.count;
        bare[line][static_cast<std::size_t>(c)] = sums.bare - kBlackLuma * sums.count;
      }
      continue;
    }
    for (int x = box.x; x < box.x + box.width; ++x) {
      if (kind[x] != Region::bed) continue;
      const int along = x, c = std::min(kChunks, (y - box.y) / chunk);
      seen[static_cast<std::size_t>(along)][static_cast<std::size_t>(c)] += 0.25F * row[x] - kBlackLuma;
      bare[static_cast<std::size_t>(along)][static_cast<std::size_t>(c)] += b[x] - kBlackLuma;
    }
  }
  // Sums up to each row, so that a window's are two of them.
  std::vector<std::array<double, kChunks + 1>> seen_to(static_cast<std::size_t>(n) + 1), bare_to(seen_to.size());
  seen_to[0].fill(0);
  bare_to[0].fill(0);
  for (std::size_t i = 0; i < static_cast<std::size_t>(n); ++i)
    for (std::size_t c = 0; c <= kChunks; ++c) {
      seen_to[i + 1][c] = seen_to[i][c] + static_cast<double>(seen[i][c]);
      bare_to[i + 1][c] = bare_to[i][c] + static_cast<double>(bare[i][c]);
    }
  std::vector<float> raw(static_cast<std::size_t>(n), 0.0F), ratios;
  for (int i = first; i < last; ++i) {
    if ((i - first) % 2 != 0 && i + 1 < last) continue;  // its neighbours' mean
    ratios.clear();
    const auto from = static_cast<std::size_t>(std::max(first, i - kGainSmooth)),
               to = static_cast<std::size_t>(std::min(last, i + kGainSmooth + 1));
    for (std::size_t c = 0; c <= kChunks; ++c) {
      constexpr double kFewest = 500;  // levels
      const double b = bare_to[to][c] - bare_to[from][c];
      if (b > kFewest) ratios.push_back(static_cast<float>((seen_to[to][c] - seen_to[from][c]) / b));
    }
    if (ratios.size() >= 3) raw[static_cast<std::size_t>(i)] = std::clamp(upper_median(ratios), 0.5F, 2.0F);
  }
  for (int i = first + 1; i + 1 < last; i += 2) {
    const float up = raw[static_cast<std::size_t>(i - 1)], down = raw[static_cast<std::size_t>(i + 1)];
    raw[static_cast<std::size_t>(i)] = up > 0 && down > 0 ? 0.5F * (up + down) : std::max(up, down);
  }
  // Rows without cloth take the nearest row's.
  float last_good = 0;
  for (int i = first; i < last; ++i) {
    auto& v = raw[static_cast<std::size_t>(i)];
    if (v > 0)
      last_good = v;
    else
      v = last_good;
  }
  last_good = 0;
  for (int i = last - 1; i >= first; --i) {
    auto& v = raw[static_cast<std::size_t>(i)];
    if (v > 0)
      last_good = v;
    else
      v = last_good;
  }
  for (int i = first; i < last; ++i)
    if (raw[static_cast<std::size_t>(i)] > 0) g.share[static_cast<std::size_t>(i)] = raw[static_cast<std::size_t>(i)];
  for (int i = 0; i < first; ++i) g.share[static_cast<std::size_t>(i)] = g.share[static_cast<std::size_t>(first)];
  for (int i = last; i < n; ++i) g.share[static_cast<std::size_t>(i)] = g.share[static_cast<std::size_t>(last - 1)];
  return g;
}

void Cloth::compare(const video::Frame& frame, const cv::Mat& halves, const Gain& gain, cv::Mat& change) const {
  change.create(region_->rows, region_->cols, CV_8U);
  change.setTo(0);
  const cv::Rect box = region_->box;
  const cv::Range rows(std::max(1, box.y), std::min(region_->rows - 1, box.y + box.height));
  if (rows.start >= rows.end) return;
  cv::parallel_for_(
      rows, [&](const cv::Range& some) { compare_rows(frame, halves, gain, some, change); }, kStripes);
}

void Cloth::compare_rows(const video::Frame& frame, const cv::Mat& halves, const Gain& gain, const cv::Range& rows,
                         cv::Mat& change) const {
  const cv::Rect box = region_->box;
  std::vector<float> score(static_cast<std::size_t>(region_->cols)), gains(static_cast<std::size_t>(region_->cols));
  const auto wc = static_cast<float>(weight_chroma_);
  const ShadeRule rule{kChanged,        kShadeDarkest, kShadeBrightest, kMostLit * lit_, kGuessDarkest,
                       kGuessBrightest, kGuessSlack,   Region::outside, kShade,          kThing};
  if (!gain.by_row)
    for (int x = 0; x < region_->cols; ++x) gains[static_cast<std::size_t>(x)] = gain.at(2 * x, 0);
  for (int y = rows.start; y < rows.end; ++y) {
    if (gain.by_row) std::fill(gains.begin(), gains.end(), gain.at(0, 2 * y));
    const ClothRow row{halves.ptr<std::uint16_t>(y),
                       frame.cb.ptr<std::uint8_t>(y),
                       frame.cr.ptr<std::uint8_t>(y),
                       coarse_.ptr<float>(y),
                       cb_.ptr<float>(y),
                       cr_.ptr<float>(y),
                       gains.data(),
                       weight_luma_.ptr<float>(y),
                       wc};
    const int end = box.x + box.width;
    change_row(row, box.x, end, score.data());
    // Most of the picture is bare cloth: many at a time.
    for (int x = box.x; x < end; x += kTogether) {
      const int to = std::min(x + kTogether, end);
      if (any_above(score.data() + x, to - x, kChanged))
        tell_row(row, rule, region_->kind.ptr<std::uint8_t>(y), known_.ptr<std::uint8_t>(y), score.data(), x, to,
                 change.ptr<std::uint8_t>(y));
    }
  }
}

void Cloth::follow(const video::Frame& frame, const Gain& gain, const cv::Mat& change, const cv::Mat& open) {
  const cv::Rect box = region_->box;
  visit_ = (visit_ + 1) % kVisits;
  const int first = std::max(1, box.y), last = std::min(region_->rows - 1, box.y + box.height);
  // Rows that are visited together lie apart: none reads what another writes.
  const int start = first + ((visit_ - first) % kVisits + kVisits) % kVisits;
  if (start >= last) return;
  std::vector<float> per_gain(static_cast<std::size_t>(region_->cols));
  if (!gain.by_row)
    for (int x = 0; x < region_->cols; ++x) per_gain[static_cast<std::size_t>(x)] = 1 / gain.at(2 * x, 0);
  const auto follow_one = [&](int y, std::vector<float>& per) {
    if (gain.by_row) std::fill(per.begin(), per.end(), 1 / gain.at(0, 2 * y));
    const auto* c = change.ptr<std::uint8_t>(y);
    const auto* kind = region_->kind.ptr<std::uint8_t>(y);
    const auto* o = open.ptr<std::uint8_t>(y);
    auto* known = known_.ptr<std::uint8_t>(y);
    auto* waited = waited_.ptr<std::uint8_t>(y);
    auto* cb = cb_.ptr<float>(y);
    auto* cr = cr_.ptr<float>(y);
    auto* coarse = coarse_.ptr<float>(y);
    const auto* fb = frame.cb.ptr<std::uint8_t>(y);
    const auto* fr = frame.cr.ptr<std::uint8_t>(y);
    const FollowedRow all{frame.luma.ptr<std::uint8_t>(2 * y),
                          frame.luma.ptr<std::uint8_t>(2 * y + 1),
                          fb,
                          fr,
                          per.data(),
                          luma_.ptr<float>(2 * y),
                          luma_.ptr<float>(2 * y + 1),
                          cb,
                          cr,
                          coarse};
    const int end = std::min(box.x + box.width, region_->cols - 1);
    constexpr int kTryAgain = 8;
    int next_try = 0;
    for (int x = std::max(1, box.x); x < end; ++x) {
      // Most of the picture is bare cloth: many at a time.
      if (x >= next_try) {
        const int plain = plain_run({c, o, known, kind, kOpen, Region::outside}, x, end);
        next_try = x + plain + kTryAgain;
        if (plain > 0) {
          follow_row(all, kFollow, x, x + plain);
          std::fill_n(waited + x, plain, std::uint8_t{0});
          x += plain - 1;
          continue;
        }
      }
      if (kind[x] == Region::outside) continue;
      const float g = gain.at(2 * x, 2 * y);
      float share = 0;
      const bool bare = c[x] == 0 && c[x - 1] == 0 && c[x + 1] == 0;
      if (bare && o[x] != kBall) {
        share = known[x] == 0 ? 0.5F : o[x] == kOpen ? kFollow : 0.0F;
        if (share > 0) known[x] = 1;
        waited[x] = 0;
      } else if (o[x] != kBall && c[x] == kShade && brighter(frame, x, y, g)) {
        share = 0.5F;
        waited[x] = 0;
      } else if (o[x] != kBall) {
        float now[3] = {0, (static_cast<float>(fb[x]) - kGrey) / g + kGrey,
                        (static_cast<float>(fr[x]) - kGrey) / g + kGrey};
        for (int j = 0; j < 4; ++j)
          now[0] += 0.25F * static_cast<float>(frame.luma.at<std::uint8_t>(2 * y + j / 2, 2 * x + j % 2));
        now[0] = (now[0] - kBlackLuma) / g + kBlackLuma;
        float off = 0;
        for (int k = 0; k < 3; ++k) {
          auto& was = waiting_[k].at<float>(y, x);
          off = std::max(off,
                         std::abs(now[k] - was) / static_cast<float>(k == 0 ? noise_luma_ + 2 : 2 * noise_chroma_ + 2));
          was = now[k];
        }
        waited[x] = off < 2 ? static_cast<std::uint8_t>(std::min(255, waited[x] + 1)) : 0;
        // A person may stand still as long as he likes; but cloth is cloth.
        if (waited[x] >= kTakeOverVisits && (o[x] == kOpen || like_cloth(now))) {
          share = 1;
          known[x] = 1;
          waited[x] = 0;
        }
      } else {
        waited[x] = 0;
      }
      if (share == 0) continue;
      cb[x] += share * ((static_cast<float>(fb[x]) - kGrey) / g + kGrey - cb[x]);
      cr[x] += share * ((static_cast<float>(fr[x]) - kGrey) / g + kGrey - cr[x]);
      float mean = 0;
      for (int j = 0; j < 4; ++j) {
        float& l = luma_.at<float>(2 * y + j / 2, 2 * x + j % 2);
        l += share * ((static_cast<float>(frame.luma.at<std::uint8_t>(2 * y + j / 2, 2 * x + j % 2)) - kBlackLuma) / g +
                      kBlackLuma - l);
        mean += 0.25F * l;
      }
      coarse[x] = mean;
    }
    refresh_tolerance(y);
  };
  cv::parallel_for_(
      cv::Range(0, (last - start + kVisits - 1) / kVisits),
      [&](const cv::Range& some) {
        std::vector<float> per = per_gain;
        for (int i = some.start; i < some.end; ++i) follow_one(start + i * kVisits, per);
      },
      kStripes);
}

bool Cloth::like_cloth(const float* now) const {
  constexpr float kHue = 3, kHueShare = 0.15F;  // levels, and of the cloth's own chroma: off grey by that much
  const float share = (now[0] - kBlackLuma) / std::max(1.0F, typical_[0] - kBlackLuma);
  if (share < kShadeDarkest || share > kShadeBrightest || now[0] - kBlackLuma > kMostLit * lit_) return false;
  const float cb = share * (typical_[1] - kGrey), cr = share * (typical_[2] - kGrey);
  return std::hypot(now[1] - kGrey - cb, now[2] - kGrey - cr) <
         kHue + kHueShare * std::hypot(cb, cr) + static_cast<float>(noise_chroma_);
}

bool Cloth::like(const Eigen::Vector3d& colour) const {
  constexpr double kApart = 14;  // levels of chroma
  return std::hypot(colour[1] - static_cast<double>(typical_[1]), colour[2] - static_cast<double>(typical_[2])) <
         kApart;
}

bool Cloth::shade(const Eigen::Vector3d& colour) const {
  const cv::Vec3f c(static_cast<float>(colour[0]), static_cast<float>(colour[1]), static_cast<float>(colour[2]));
  return like_cloth(c.val);
}

bool Cloth::brighter(const video::Frame& frame, int x, int y, float gain) const {
  float luma = -kBlackLuma;
  for (int j = 0; j < 4; ++j)
    luma += 0.25F * static_cast<float>(frame.luma.at<std::uint8_t>(2 * y + j / 2, 2 * x + j % 2));
  return luma > kUncovered * gain * (coarse_.at<float>(y, x) - kBlackLuma) + 2 * static_cast<float>(noise_luma_);
}

View Cloth::view(const video::Frame& frame, const Gain& gain) const {
  View v;
  v.luma = frame.luma;
  v.cb = frame.cb;
  v.cr = frame.cr;
  v.bare_luma = luma_;
  v.bare_cb = cb_;
  v.bare_cr = cr_;
  v.gain = gain;
  v.noise_luma = noise_luma_;
  v.noise_chroma = noise_chroma_;
  v.blur = blur_;
  v.chroma_offset = chroma_offset(frame.turn, siting_);
  return v;
}

}  // namespace baizetrace::sight
