#include "sight/cloth_rows.hpp"

#include <cstring>

namespace baizetrace::sight {

namespace {
constexpr float kBlackLuma = 16, kGrey = 128;  // levels, video range
}

__attribute__((target_clones("avx2", "default"))) void coarse_row(const std::uint8_t* upper, const std::uint8_t* lower,
                                                                  int x0, int x1, std::uint16_t* out) {
  for (int x = x0; x < x1; ++x) {
    std::uint16_t a, b;  // two neighbours each; which is which does not matter for the sum
    std::memcpy(&a, upper + 2 * x, sizeof a);
    std::memcpy(&b, lower + 2 * x, sizeof b);
    out[x] = static_cast<std::uint16_t>((a & 0xFF) + (a >> 8) + (b & 0xFF) + (b >> 8));
  }
}

__attribute__((target_clones("avx2", "default"))) void add_agreeing(const std::uint8_t* __restrict row,
                                                                    const float* __restrict per_gain, float zero,
                                                                    const float* __restrict base, float slack,
                                                                    int count, float* __restrict sum,
                                                                    float* __restrict times) {
  for (int x = 0; x < count; ++x) {
    const float v = (static_cast<float>(row[x]) - zero) * per_gain[x] + zero, d = v - base[x];
    const float ok = d < slack && d > -slack ? 1.0F : 0.0F;
    sum[x] += ok * v;
    times[x] += ok;
  }
}

__attribute__((target_clones("avx2", "default"))) BedSums bed_sums(const std::uint16_t* luma, const float* bare,
                                                                   const std::uint8_t* kind, std::uint8_t bed, int x0,
                                                                   int x1) {
  constexpr int kLanes = 8;  // so many sums side by side: the compiler may not reorder one
  float l[kLanes] = {}, b[kLanes] = {}, n[kLanes] = {};
  int x = x0;
  for (; x + kLanes <= x1; x += kLanes)
    for (int j = 0; j < kLanes; ++j) {
      const float on = kind[x + j] == bed ? 1.0F : 0.0F;
      l[j] += on * static_cast<float>(luma[x + j]);
      b[j] += on * bare[x + j];
      n[j] += on;
    }
  BedSums out;
  for (; x < x1; ++x) {
    const float on = kind[x] == bed ? 1.0F : 0.0F;
    out.luma += on * static_cast<float>(luma[x]);
    out.bare += on * bare[x];
    out.count += on;
  }
  for (int j = 0; j < kLanes; ++j) {
    out.luma += l[j];
    out.bare += b[j];
    out.count += n[j];
  }
  return out;
}

__attribute__((target_clones("avx2", "default"))) bool any_above(const float* values, int count, float limit) {
  int above = 0;
#pragma GCC ivdep
  for (int i = 0; i < count; ++i) above |= values[i] >= limit ? 1 : 0;
  return above != 0;
}

__attribute__((target_clones("avx2", "default"))) int plain_run(const PlainRow& row, int x0, int x1) {
  constexpr int kTogether = 16;
  int x = x0;
  for (; x + kTogether <= x1; x += kTogether) {
    std::uint8_t odd = 0;
    for (int j = 0; j < kTogether; ++j) {
      const int at = x + j;
      odd = static_cast<std::uint8_t>(odd | row.change[at - 1] | row.change[at] | row.change[at + 1] |
                                      (row.open[at] ^ row.open_is) | (row.known[at] ^ 1) |
                                      (row.kind[at] == row.outside ? 1 : 0));
    }
    if (odd != 0) break;
  }
  return x - x0;
}

__attribute__((target_clones("avx2", "default"))) void follow_row(const FollowedRow& row, float share, int x0, int x1) {
  const std::uint8_t* __restrict fb = row.cb;
  const std::uint8_t* __restrict fr = row.cr;
  const float* __restrict per = row.per_gain;
  float* __restrict cb = row.bare_cb;
  float* __restrict cr = row.bare_cr;
  float* __restrict coarse = row.coarse;
  for (int x = x0; x < x1; ++x) {
    cb[x] += share * ((static_cast<float>(fb[x]) - kGrey) * per[x] + kGrey - cb[x]);
    cr[x] += share * ((static_cast<float>(fr[x]) - kGrey) * per[x] + kGrey - cr[x]);
    coarse[x] = 0;
  }
  for (const bool upper : {true, false}) {
    const std::uint8_t* __restrict in = upper ? row.upper : row.lower;
    float* __restrict bare = upper ? row.bare_upper : row.bare_lower;
    for (int x = x0; x < x1; ++x) {
      float &a = bare[2 * x], &b = bare[2 * x + 1];
      a += share * ((static_cast<float>(in[2 * x]) - kBlackLuma) * per[x] + kBlackLuma - a);
      b += share * ((static_cast<float>(in[2 * x + 1]) - kBlackLuma) * per[x] + kBlackLuma - b);
      coarse[x] += 0.25F * (a + b);
    }
  }
}

__attribute__((target_clones("avx2", "default"))) void tolerance_row(const float* __restrict up,
                                                                     const float* __restrict here,
                                                                     const float* __restrict down, float base,
                                                                     float slack, int columns, float* __restrict out) {
  for (int x = 1; x + 1 < columns; ++x) {
    const float gx = here[x + 1] - here[x - 1], gy = down[x] - up[x];
    out[x] = 1.0F / (base + slack * (gx * gx + gy * gy));
  }
}

__attribute__((target_clones("avx2", "default"))) void change_row(const ClothRow& row, int x0, int x1, float* out) {
  const std::uint16_t* __restrict in = row.luma;
  const std::uint8_t* __restrict fb = row.cb;
  const std::uint8_t* __restrict fr = row.cr;
  const float* __restrict b = row.bare_luma;
  const float* __restrict cb = row.bare_cb;
  const float* __restrict cr = row.bare_cr;
  const float* __restrict g = row.gain;
  const float* __restrict wl = row.weight_luma;
  float* __restrict s = out;
  for (int x = x0; x < x1; ++x) {
    const float dl = 0.25F * static_cast<float>(in[x]) - kBlackLuma - g[x] * (b[x] - kBlackLuma);
    const float db = static_cast<float>(fb[x]) - kGrey - g[x] * (cb[x] - kGrey);
    const float dr = static_cast<float>(fr[x]) - kGrey - g[x] * (cr[x] - kGrey);
    s[x] = dl * dl * wl[x] + (db * db + dr * dr) * row.weight_chroma;
  }
}

__attribute__((target_clones("avx2", "default"))) void tell_row(const ClothRow& row, const ShadeRule& rule,
                                                                const std::uint8_t* __restrict kind,
                                                                const std::uint8_t* __restrict known,
                                                                const float* __restrict score, int x0, int x1,
                                                                std::uint8_t* __restrict out) {
  const std::uint16_t* __restrict in = row.luma;
  const std::uint8_t* __restrict fb = row.cb;
  const std::uint8_t* __restrict fr = row.cr;
  const float* __restrict bare = row.bare_luma;
  const float* __restrict cb = row.bare_cb;
  const float* __restrict cr = row.bare_cr;
  const float* __restrict g = row.gain;
  const float* __restrict wl = row.weight_luma;
  const float wc = row.weight_chroma;
  const int shade = rule.shade, thing = rule.thing;
  for (int x = x0; x < x1; ++x) {
    // The same cloth under less or more light keeps its hue: compare with the best brightness.
    const float l = 0.25F * static_cast<float>(in[x]) - kBlackLuma, lb = g[x] * (bare[x] - kBlackLuma);
    const float u = static_cast<float>(fb[x]) - kGrey, ub = g[x] * (cb[x] - kGrey);
    const float v = static_cast<float>(fr[x]) - kGrey, vb = g[x] * (cr[x] - kGrey);
    const float k = (l * lb * wl[x] + (u * ub + v * vb) * wc) / (lb * lb * wl[x] + (ub * ub + vb * vb) * wc + 1e-3F);
    const float dl = l - k * lb, du = u - k * ub, dv = v - k * vb;
    const float left = dl * dl * wl[x] + (du * du + dv * dv) * wc;
    const int changed = (score[x] >= rule.changed ? 1 : 0) & (kind[x] != rule.outside ? 1 : 0);
    // Cloth that was never seen bare is a guess, which may be off in brightness and a little in hue.
    const int guessed = (known[x] == 0 ? 1 : 0) & (k > rule.guess_darkest ? 1 : 0) &
                        (k < rule.guess_brightest ? 1 : 0) & (left < rule.guess_slack * rule.changed ? 1 : 0);
    const int as_lit = (k > rule.darkest ? 1 : 0) & (k < rule.brightest ? 1 : 0) &
                       (k * lb < rule.most_lit * g[x] ? 1 : 0) & (left < rule.changed ? 1 : 0);
    const int told = as_lit != 0 ? shade : thing;
    out[x] = static_cast<std::uint8_t>((changed & (guessed ^ 1)) != 0 ? told : 0);
  }
}

}  // namespace baizetrace::sight
