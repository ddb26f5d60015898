// The table and the room without balls and people: every pixel's ray followed to what it meets.
#pragma once

#include <opencv2/core.hpp>

#include "drawn/scene.hpp"

namespace baizetrace::drawn {

// How much light falls on the cloth at a place (z = 0), and where it comes from; balls and people use it too.
[[nodiscard]] Colour light_at(const Scene& scene, const Vec3& at, const Vec3& normal);

// Plan distance to the nose's outline: positive on the bed and in the pockets' mouths, negative over the rubber.
[[nodiscard]] double off_the_nose(const TableShape& table, double x, double y);

// CV_32FC3, linear light, before lens blur. One brightness for all: the recording's level sets it later.
[[nodiscard]] cv::Mat draw_ground(const Scene& scene, const Optics& optics);

}  // namespace baizetrace::drawn
