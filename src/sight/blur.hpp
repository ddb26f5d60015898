// How blurred a clip's pictures are.
#pragma once

#include <span>

namespace baizetrace::sight {

// The blur (px) that explains a picture's balls best. `costs`: of their fits under each of `blurs`, which ascend; a few
// dim balls make them uneven, so neighbours count too, and an unusual blur has to explain more.
[[nodiscard]] double likeliest_blur(std::span<const double> blurs, std::span<const double> costs);

}  // namespace baizetrace::sight
