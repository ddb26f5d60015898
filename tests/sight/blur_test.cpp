#include "sight/blur.hpp"

#include <gtest/gtest.h>

#include <array>

namespace baizetrace::sight {
namespace {

// Costs of the clips' own balls: one in dim light with noise, whose least is an accident; one out of focus.
TEST(LikeliestBlur, AnAccidentIsNoBlur) {
  const std::array<double, 8> blurs{0.5, 0.7, 0.85, 1.0, 1.2, 1.45, 1.75, 2.1};
  const std::array<double, 8> dim{7.89, 7.76, 7.56, 7.57, 7.59, 7.81, 7.82, 7.43};
  EXPECT_NEAR(likeliest_blur(blurs, dim), 1.0, 0.2);
  const std::array<double, 8> soft{17.14, 17.49, 17.00, 16.30, 16.06, 15.73, 15.60, 15.97};
  EXPECT_NEAR(likeliest_blur(blurs, soft), 1.6, 0.2);
}

}  // namespace
}  // namespace baizetrace::sight
