// Where this table's spots are drawn.
#pragma once

#include <map>
#include <string>

#include "camera/scene.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

// Every spot of the table: where its dot is seen, else (a ball stands on it) where the rules put it on this table.
[[nodiscard]] std::map<std::string, Vec2> find_spots(const Scene& scene, const Unknowns& x, const table::Spec& spec);

}  // namespace baizetrace::camera
