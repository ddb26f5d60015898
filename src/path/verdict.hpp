// Was it a shot? And what the episode tells about the table.
#pragma once

#include "path/fit.hpp"
#include "path/reconstruct.hpp"
#include "path/search.hpp"

namespace baizetrace::path {

// Fills strike_time, struck, why_not, under_way, ended_by_hand.
void judge(EpisodePaths& out, const Episode& episode, const table::BallSet& balls, const std::vector<Found>& found,
           const Problem& problem);

// Fills rolls and rebounds.
void read_conditions(EpisodePaths& out, const Problem& problem, const Layout& layout, const FitSummary& summary);

}  // namespace baizetrace::path
