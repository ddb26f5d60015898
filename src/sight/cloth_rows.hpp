// A row of the coarse picture (half size) at a time: the arithmetic that every frame's every pixel goes through.
#pragma once

#include <cstdint>

namespace baizetrace::sight {

// Sums of 2 x 2 blocks of luma from coarse column x0 to x1: `upper` and `lower` are the picture's two rows.
void coarse_row(const std::uint8_t* upper, const std::uint8_t* lower, int x0, int x1, std::uint16_t* out);

// Adds a row of `count` pixels, its gain taken out (`per_gain`: 1 / gain, by pixel), to `sum` and 1 to `times`, where
// it lies within `slack` of `base`.
void add_agreeing(const std::uint8_t* row, const float* per_gain, float zero, const float* base, float slack, int count,
                  float* sum, float* times);

// Over the pixels of one kind from x0 to x1: sums of `luma` (as coarse_row gives it) and of the bare cloth, and how
// many.
struct BedSums {
  float luma = 0, bare = 0, count = 0;
};
BedSums bed_sums(const std::uint16_t* luma, const float* bare, const std::uint8_t* kind, std::uint8_t bed, int x0,
                 int x1);

// Whether any of `count` values is at least `limit`.
bool any_above(const float* values, int count, float limit);

// How many pixels from x0 on, whole sixteens of them up to x1, are plain: unchanged, and so are both neighbours; open
// (all of `open`), seen bare before (`known` 1) and not of the kind `outside`. Reads `change` from x0 - 1 to x1.
struct PlainRow {
  const std::uint8_t *change, *open, *known, *kind;
  std::uint8_t open_is, outside;
};
int plain_run(const PlainRow& row, int x0, int x1);

// The bare cloth of one coarse row, and the frame's there.
struct FollowedRow {
  const std::uint8_t *upper, *lower;  // luma, full size
  const std::uint8_t *cb, *cr;
  const float* per_gain;           // 1 / gain by coarse column
  float *bare_upper, *bare_lower;  // luma, full size
  float *bare_cb, *bare_cr, *coarse;
};
// Moves it by `share` towards the frame, from coarse column x0 to x1.
void follow_row(const FollowedRow& row, float share, int x0, int x1);

// 1 / (base + slack (gx^2 + gy^2)), gx and gy a row's differences over two columns and two rows, from 1 to columns - 1.
void tolerance_row(const float* up, const float* here, const float* down, float base, float slack, int columns,
                   float* out);

struct ClothRow {
  const std::uint16_t* luma;  // sums of four
  const std::uint8_t *cb, *cr;
  const float *bare_luma, *bare_cb, *bare_cr;
  const float* gain;
  const float* weight_luma;
  float weight_chroma;
};

// Squared difference from the bare cloth under the gain, in tolerated variances.
void change_row(const ClothRow& row, int x0, int x1, float* out);

// What makes a change more than the same cloth under other light: see Cloth::compare.
struct ShadeRule {
  float changed;                                      // squared differences beyond this are changes
  float darkest, brightest, most_lit;                 // of cloth in other light; over black, before the gain
  float guess_darkest, guess_brightest, guess_slack;  // the same of cloth that was never seen bare
  std::uint8_t outside, shade, thing;                 // kind; told
};
// Tells of the pixels from x0 to x1, whose squared differences are `score`: 0, shade or thing.
void tell_row(const ClothRow& row, const ShadeRule& rule, const std::uint8_t* kind, const std::uint8_t* known,
              const float* score, int x0, int x1, std::uint8_t* out);

}  // namespace baizetrace::sight
