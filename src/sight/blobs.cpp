#include "sight/blobs.hpp"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <array>
#include <cstring>
#include <numeric>
#include <opencv2/imgproc.hpp>

namespace baizetrace::sight {

namespace {

constexpr double kSmallestArea = 0.35, kLargestArea = 1.5;  // of a ball's, for a single ball
constexpr double kSlimmest = 0.6, kStoutest = 1.35;         // of a ball's radius: half width of bulge or streak

cv::Mat drawn(const Blob& blob, int border) {
  cv::Mat m = cv::Mat::zeros(blob.box.height + 2 * border, blob.box.width + 2 * border, CV_8U);
  for (const Run& r : blob.runs) {
    auto* row = m.ptr<std::uint8_t>(r.y - blob.box.y + border);
    std::fill(row + r.x0 - blob.box.x + border, row + r.x1 - blob.box.x + border, std::uint8_t{255});
  }
  return m;
}

}  // namespace

std::vector<Blob> find_blobs(const cv::Mat& mask, const cv::Rect& box, int level, int least) {
  std::vector<Run> runs;
  std::vector<int> parent;
  const auto root = [&](int i) {
    while (parent[static_cast<std::size_t>(i)] != i) {
      int& up = parent[static_cast<std::size_t>(i)];
      i = up = parent[static_cast<std::size_t>(up)];
    }
    return i;
  };
  std::size_t last_begin = 0, last_end = 0;
  for (int y = box.y; y < box.y + box.height; ++y) {
    const auto* row = mask.ptr<std::uint8_t>(y);
    const std::size_t begin = runs.size();
    std::size_t j = last_begin;
    for (int x = box.x; x < box.x + box.width;) {
      if (row[x] < level) {
        // Most of the picture is bare cloth: many at a time.
        std::array<std::uint64_t, 8> many;
        while (x + static_cast<int>(sizeof many) <= box.x + box.width) {
          std::memcpy(many.data(), row + x, sizeof many);
          std::uint64_t any = 0;
          for (const std::uint64_t m : many) any |= m;
          if (any != 0) break;
          x += static_cast<int>(sizeof many);
        }
        while (x < box.x + box.width && row[x] < level) ++x;
        continue;
      }
      const int x0 = x;
      while (x < box.x + box.width && row[x] >= level) ++x;
      const int me = static_cast<int>(runs.size());
      runs.push_back({y, x0, x});
      parent.push_back(me);
      while (j < last_end && runs[j].x1 < x0) ++j;
      for (std::size_t k = j; k < last_end && runs[k].x0 <= x; ++k) {
        const int a = root(static_cast<int>(k)), b = root(me);
        if (a < b)
          parent[static_cast<std::size_t>(b)] = a;
        else
          parent[static_cast<std::size_t>(a)] = b;
      }
    }
    last_begin = begin;
    last_end = runs.size();
  }
  std::vector<int> area(runs.size(), 0), place(runs.size(), -1);
  for (std::size_t i = 0; i < runs.size(); ++i)
    area[static_cast<std::size_t>(root(static_cast<int>(i)))] += runs[i].x1 - runs[i].x0;
  std::vector<Blob> out;  // in the order of their first runs
  for (std::size_t i = 0; i < runs.size(); ++i) {
    const auto key = static_cast<std::size_t>(root(static_cast<int>(i)));
    if (area[key] < least) continue;
    if (place[key] < 0) {
      place[key] = static_cast<int>(out.size());
      out.emplace_back();
    }
    Blob& b = out[static_cast<std::size_t>(place[key])];
    const Run& r = runs[i];
    const cv::Rect line(r.x0, r.y, r.x1 - r.x0, 1);
    b.box = b.area == 0 ? line : (b.box | line);
    b.area += r.x1 - r.x0;
    b.runs.push_back(r);
  }
  for (Blob& b : out) {
    Vec2 sum = Vec2::Zero();
    for (const Run& r : b.runs) sum += (r.x1 - r.x0) * Vec2(0.5 * (r.x0 + r.x1 - 1), r.y);
    b.centre = sum / b.area;
    for (const Run& r : b.runs) {
      const double n = r.x1 - r.x0, mx = 0.5 * (r.x0 + r.x1 - 1) - b.centre.x(), my = r.y - b.centre.y();
      b.spread(0, 0) += n * (mx * mx + (n * n - 1) / 12);
      b.spread(1, 1) += n * my * my;
      b.spread(0, 1) += n * mx * my;
    }
    b.spread(1, 0) = b.spread(0, 1);
    b.spread /= b.area;
  }
  return out;
}

std::vector<Seed> seeds_in(const Blob& blob, double radius) {
  std::vector<Seed> seeds;
  const double r = radius / 2;  // coarse
  const double area = kPi * r * r;
  // A coarse pixel covers luma pixels 2x and 2x + 1.
  const auto luma = [](const Vec2& c) { return Vec2(2 * c + Vec2(0.5, 0.5)); };
  const Eigen::SelfAdjointEigenSolver<Mat2> eigen(blob.spread);
  const double across = 2 * std::sqrt(std::max(0.0, eigen.eigenvalues()[0]));  // half width of an even disc
  const double excess = eigen.eigenvalues()[1] - eigen.eigenvalues()[0];
  const double length = std::sqrt(12 * std::max(0.0, excess));
  const double swept = area + 2 * r * length;
  const bool slim = across > kSlimmest * r && across < kStoutest * r;
  if (blob.area > kSmallestArea * area && blob.area < kLargestArea * area && length < 1.2 * r) {
    seeds.push_back({luma(blob.centre), Vec2::Zero()});
    return seeds;
  }
  if (slim && blob.area > 0.7 * swept && blob.area < 1.3 * swept)
    seeds.push_back({luma(blob.centre), 2 * length * eigen.eigenvectors().col(1)});
  if (blob.area < kSmallestArea * area) return seeds;
  cv::Mat distance, top;
  cv::distanceTransform(drawn(blob, 2), distance, cv::DIST_L2, 3);
  const int reach = std::max(1, static_cast<int>(0.6 * r));
  cv::dilate(distance, top, cv::getStructuringElement(cv::MORPH_RECT, {2 * reach + 1, 2 * reach + 1}));
  for (int y = 0; y < distance.rows; ++y)
    for (int x = 0; x < distance.cols; ++x) {
      const auto d = static_cast<double>(distance.at<float>(y, x));
      if (d < kSlimmest * r || d > kStoutest * r + 1 || d < static_cast<double>(top.at<float>(y, x))) continue;
      const Vec2 at = luma({x - 2 + blob.box.x, y - 2 + blob.box.y});
      bool fresh = true;
      for (const Seed& s : seeds) fresh = fresh && (s.at - at).norm() > 0.6 * radius;
      if (fresh) seeds.push_back({at, Vec2::Zero()});
    }
  return seeds;
}

double stout_share(const Blob& blob, double width) {
  cv::Mat m = drawn(blob, 2);
  const int k = std::max(3, static_cast<int>(std::lround(width)) | 1);
  cv::morphologyEx(m, m, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {k, k}));
  return static_cast<double>(cv::countNonZero(m)) / blob.area;
}

}  // namespace baizetrace::sight
