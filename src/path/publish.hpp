// From the fitted problem to BallPaths: contacts, speeds and headings with their uncertainties, pieces, rows.
#pragma once

#include "path/fit.hpp"
#include "path/reconstruct.hpp"
#include "path/rows.hpp"
#include "path/search.hpp"

namespace baizetrace::path {

struct Published {
  const Problem* problem = nullptr;
  const Layout* layout = nullptr;
  const Eigen::MatrixXd* covariance = nullptr;  // of the unknowns, random share
  const Episode* episode = nullptr;
  const RowClock* clock = nullptr;
  const ReconstructOptions* options = nullptr;
};

// `found` is the search's answer for chain `i`, with the fitted chain.
[[nodiscard]] BallPath publish(const Published& from, std::size_t i, const Found& found, const BallTrack& track);

// A stay with the rig's share.
[[nodiscard]] Place place_of(const Stay& stay, const ReconstructOptions& options);

}  // namespace baizetrace::path
