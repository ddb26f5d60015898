#include "camera/cloth.hpp"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <optional>

namespace baizetrace::camera {

namespace {
// Chroma over luma keeps through shade and lamp's falloff; luma's pedestal keeps black pixels from exploding.
constexpr float kPedestal = 12;     // levels
constexpr float kBinWidth = 0.02F;  // of the ratio
constexpr int kBins = 100;          // ratios from -1 to 1
constexpr float kDarkest = 22;      // levels: below it chroma is noise
constexpr int kCandidates = 4;
constexpr double kLumaBin = 6, kLumaFrom = 0.72, kLumaTo = 1.35;  // levels; window about a luma's mode
constexpr std::size_t kLumaBins = 43;
constexpr int kLumaModes = 2;
constexpr double kPieceShare = 0.08;  // of the largest piece
constexpr double kLeastShare = 0.05;  // of the picture: a table smaller than this gives balls below 5 px
constexpr double kLeastSolidity = 0.6;
constexpr double kLeastFilled = 0.6;  // balls and people standing on the cloth take less

// The quadrangle of greatest area with corners among a convex polygon's vertices: for each diagonal the furthest
// vertex on either side.
std::array<cv::Point, 4> largest_quadrangle(const std::vector<cv::Point>& hull) {
  const std::size_t n = hull.size();
  double best = -1;
  std::array<cv::Point, 4> corners{};
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = i + 2; j < n; ++j) {
      const cv::Point d = hull[j] - hull[i];
      double up = 0, down = 0;
      std::size_t ku = i, kd = j;
      for (std::size_t k = i + 1; k < j; ++k) {
        const double a = std::abs(static_cast<double>(d.cross(hull[k] - hull[i])));
        if (a > up) up = a, ku = k;
      }
      for (std::size_t k = j + 1; k < n + i; ++k) {
        const double a = std::abs(static_cast<double>(d.cross(hull[k % n] - hull[i])));
        if (a > down) down = a, kd = k % n;
      }
      if (up > 0 && down > 0 && up + down > best) {
        best = up + down;
        corners = {hull[i], hull[ku], hull[j], hull[kd]};
      }
    }
  return corners;
}

// The largest piece of a mask, with others that can belong to the same cloth; nullopt: it has not a cloth's shape.
std::optional<ClothRegion> region_of(const cv::Mat& raw) {
  const cv::Size half = raw.size();
  cv::Mat mask;
  // Drawn lines and the noses' dark bands do not cut the cloth in two; nor do threads join it to the floor.
  cv::morphologyEx(raw, mask, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, {5, 5}));
  cv::morphologyEx(mask, mask, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {3, 3}));
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  if (contours.empty()) return std::nullopt;
  double largest = 0;
  for (const auto& c : contours) largest = std::max(largest, cv::contourArea(c));
  // Other large pieces of the same colour belong to it when a lamp or a player cuts the cloth in two.
  std::vector<std::vector<cv::Point>> pieces;
  std::vector<cv::Point> all;
  double size = 0;
  for (auto& c : contours)
    if (const double area = cv::contourArea(c); area > kPieceShare * largest) {
      all.insert(all.end(), c.begin(), c.end());
      pieces.push_back(std::move(c));
      size += area;
    }
  ClothRegion region;
  region.share = size / half.area();
  if (region.share < kLeastShare) return std::nullopt;
  std::vector<cv::Point> hull, coarse;
  cv::convexHull(all, hull);
  cv::approxPolyDP(hull, coarse, 1.5, true);
  if (coarse.size() < 4) return std::nullopt;
  region.solidity = size / cv::contourArea(hull);
  if (region.solidity < kLeastSolidity) return std::nullopt;
  // A frame of wood round the cloth is a ring, not a region.
  region.mask = cv::Mat::zeros(half, CV_8U);
  cv::fillPoly(region.mask, pieces, cv::Scalar(255));
  cv::Mat worn;
  cv::bitwise_and(region.mask, mask, worn);
  if (cv::countNonZero(worn) < kLeastFilled * cv::countNonZero(region.mask)) return std::nullopt;
  for (const cv::Point& p : all)
    if (p.x > 2 && p.y > 2 && p.x < half.width - 3 && p.y < half.height - 3)
      region.border.emplace_back(2.0 * p.x + 0.5, 2.0 * p.y + 0.5);
  const auto corners = largest_quadrangle(coarse);
  for (std::size_t i = 0; i < 4; ++i) region.corners[i] = Vec2(2.0 * corners[i].x + 0.5, 2.0 * corners[i].y + 0.5);
  return region;
}

// An even region: what can be reached in small steps at half the picture's size.
constexpr int kThread = 5;  // px there: drawn lines are thinner
constexpr int kSeeds = 6;   // along each side of a grid
constexpr std::size_t kMostRegions = 3;

// What counts as even: how much is smoothed, and the steps from one pixel to the next.
struct Even {
  double smooth;                   // px
  double step;                     // of the light
  double least_step, chroma_step;  // levels
};
constexpr Even kLit{0, 0.02, 0.5, 1.5};
constexpr Even kDim{2, 0.02, 0.1, 0.5};

std::vector<ClothRegion> even_regions(const Scene& scene, const Even& even) {
  const cv::Size half = scene.cb.size();
  std::array<cv::Mat, 3> planes;
  cv::resize(scene.luma, planes[0], half, 0, 0, cv::INTER_AREA);
  cv::morphologyEx(planes[0], planes[0], cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_RECT, {kThread, kThread}));
  cv::medianBlur(scene.cb, planes[1], kThread);
  cv::medianBlur(scene.cr, planes[2], kThread);
  if (even.smooth > 0)
    for (cv::Mat& plane : planes) cv::GaussianBlur(plane, plane, {}, even.smooth);
  // A step in luma counts by the light there; one fill with one tolerance needs the planes scaled to it.
  cv::Mat light = cv::max(planes[0] - 16, even.least_step / even.step);
  cv::log(light, light);
  cv::Mat picture;
  const std::array<cv::Mat, 3> scaled{light / even.step, planes[1] / even.chroma_step, planes[2] / even.chroma_step};
  cv::merge(scaled, picture);
  std::vector<ClothRegion> regions;
  cv::Mat filled = cv::Mat::zeros(half.height + 2, half.width + 2, CV_8U);
  for (int i = 0; i < kSeeds * kSeeds; ++i) {
    const cv::Point seed((2 * (i % kSeeds) + 1) * half.width / (2 * kSeeds),
                         (2 * (i / kSeeds) + 1) * half.height / (2 * kSeeds));
    if (filled.at<std::uint8_t>(seed.y + 1, seed.x + 1) != 0) continue;
    cv::Mat mask = filled.clone();
    const int size = cv::floodFill(picture, mask, seed, {}, nullptr, cv::Scalar::all(1), cv::Scalar::all(1),
                                   4 | cv::FLOODFILL_MASK_ONLY | (255 << 8));
    cv::Mat fresh = mask - filled;
    filled = mask;
    if (size < kLeastShare * half.area()) continue;
    auto region = region_of(fresh(cv::Rect({1, 1}, half)));
    if (!region) continue;
    region->at = ClothBorder::bed;
    regions.push_back(std::move(*region));
  }
  std::stable_sort(regions.begin(), regions.end(),
                   [](const auto& a, const auto& b) { return a.share * a.solidity > b.share * b.solidity; });
  if (regions.size() > kMostRegions) regions.resize(kMostRegions);
  return regions;
}
}  // namespace

std::vector<ClothRegion> find_even_regions(const Scene& scene) { return even_regions(scene, kLit); }

std::vector<ClothRegion> find_even_regions_in_the_dim(const Scene& scene) {
  std::vector<ClothRegion> out;
  for (const double finer : {1.0, 0.6, 0.36, 0.2})
    for (ClothRegion& r :
         even_regions(scene, {kDim.smooth, finer * kDim.step, finer * kDim.least_step, finer * kDim.chroma_step}))
      out.push_back(std::move(r));
  return out;
}

std::vector<ClothRegion> find_cloth(const Scene& scene) {
  const cv::Size half = scene.cb.size();
  cv::Mat y;
  cv::resize(scene.luma, y, half, 0, 0, cv::INTER_AREA);
  cv::Mat u(half, CV_32F), v(half, CV_32F), histogram = cv::Mat::zeros(kBins, kBins, CV_32F);
  for (int r = 0; r < half.height; ++r)
    for (int c = 0; c < half.width; ++c) {
      const float scale = 1 / (std::max(0.0F, y.at<float>(r, c) - 16) + kPedestal);
      const float a = (scene.cb.at<float>(r, c) - 128) * scale, b = (scene.cr.at<float>(r, c) - 128) * scale;
      u.at<float>(r, c) = a;
      v.at<float>(r, c) = b;
      if (y.at<float>(r, c) < kDarkest) continue;
      const int i = std::clamp(static_cast<int>((a + 1) / kBinWidth), 0, kBins - 1);
      const int j = std::clamp(static_cast<int>((b + 1) / kBinWidth), 0, kBins - 1);
      histogram.at<float>(i, j) += 1;
    }
  cv::GaussianBlur(histogram, histogram, {5, 5}, 0.9);

  std::vector<ClothRegion> regions;
  for (int k = 0; k < kCandidates; ++k) {
    double peak = 0;
    cv::Point at;
    cv::minMaxLoc(histogram, nullptr, &peak, nullptr, &at);
    if (peak <= 0) break;
    float mu = (static_cast<float>(at.y) + 0.5F) * kBinWidth - 1,
          mv = (static_cast<float>(at.x) + 0.5F) * kBinWidth - 1;
    // The cluster's middle and width, by re-estimation within three widths.
    float width = 2.5F * kBinWidth;
    for (int round = 0; round < 4; ++round) {
      double su = 0, sv = 0, ss = 0, n = 0;
      const float reach = 2.5F * width;
      for (int r = 0; r < half.height; r += 2)
        for (int c = 0; c < half.width; c += 2) {
          const float du = u.at<float>(r, c) - mu, dv = v.at<float>(r, c) - mv, d2 = du * du + dv * dv;
          if (d2 > reach * reach || y.at<float>(r, c) < kDarkest) continue;
          su += static_cast<double>(du);
          sv += static_cast<double>(dv);
          ss += static_cast<double>(d2);
          n += 1;
        }
      if (n < 1) break;
      mu += static_cast<float>(su / n);
      mv += static_cast<float>(sv / n);
      width = std::clamp(static_cast<float>(std::sqrt(ss / n / 2)), 0.4F * kBinWidth, 3.0F * kBinWidth);
    }
    // Shadows at the noses and lamp's falloff stretch the cluster: wider than its core, but short of wood and skin.
    const float reach = std::max(4.0F * width, 0.06F);
    cv::circle(histogram, at, static_cast<int>(std::ceil(reach / kBinWidth)), cv::Scalar(0), cv::FILLED);
    cv::Mat of_colour(half, CV_8U);
    std::array<double, kLumaBins> lumas{};
    for (int r = 0; r < half.height; ++r)
      for (int c = 0; c < half.width; ++c) {
        const float du = u.at<float>(r, c) - mu, dv = v.at<float>(r, c) - mv;
        const bool is = du * du + dv * dv < reach * reach && y.at<float>(r, c) > kDarkest;
        of_colour.at<std::uint8_t>(r, c) = is ? 255 : 0;
        if (is)
          lumas[static_cast<std::size_t>(static_cast<double>(std::min(255.0F, y.at<float>(r, c))) / kLumaBin)] += 1;
      }
    // By colour alone; and, where wood or floor have the cloth's hue (a grey cloth), by its brightness too.
    std::vector<cv::Mat> masks{of_colour};
    for (int mode = 0; mode < kLumaModes; ++mode) {
      const auto most = std::max_element(lumas.begin(), lumas.end());
      if (!(*most > 0)) break;
      const double middle = (static_cast<double>(most - lumas.begin()) + 0.5) * kLumaBin;
      cv::Mat alike = (y > kLumaFrom * middle) & (y < kLumaTo * middle);
      cv::bitwise_and(alike, of_colour, alike);
      masks.push_back(alike);
      for (std::size_t b = 0; b < lumas.size(); ++b) {
        const double level = (static_cast<double>(b) + 0.5) * kLumaBin;
        if (level > kLumaFrom * middle && level < kLumaTo * middle) lumas[b] = 0;
      }
    }
    for (const cv::Mat& mask : masks)
      if (auto region = region_of(mask)) {
        cv::Mat core;
        cv::erode(region->mask, core, cv::getStructuringElement(cv::MORPH_ELLIPSE, {15, 15}));
        region->luma = cv::mean(y, core)[0];
        region->cb_ratio = static_cast<double>(mu);
        region->cr_ratio = static_cast<double>(mv);
        const bool known = std::any_of(regions.begin(), regions.end(), [&](const ClothRegion& o) {
          cv::Mat both;
          cv::bitwise_and(o.mask, region->mask, both);
          return cv::countNonZero(both) > 0.97 * std::max(cv::countNonZero(o.mask), cv::countNonZero(region->mask));
        });
        if (!known) regions.push_back(std::move(*region));
      }
  }
  // Large, solid, coloured and away from the picture's edge comes first.
  const auto rank = [&](const ClothRegion& r) {
    const double inside = static_cast<double>(r.border.size()) / (2.0 * (half.width + half.height));
    return r.share * r.solidity * std::min(1.0, inside) * (0.3 + std::hypot(r.cb_ratio, r.cr_ratio));
  };
  std::sort(regions.begin(), regions.end(), [&](const auto& a, const auto& b) { return rank(a) > rank(b); });
  return regions;
}

}  // namespace baizetrace::camera
