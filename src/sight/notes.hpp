// What an eye made of one frame, for people who want to know why: every place it thought of as a ball, kept or not.
#pragma once

#include <string>
#include <vector>

#include "sight/ellipse.hpp"

namespace baizetrace::sight {

struct Note {
  bool kept = false;
  std::string why;            // "fitted", "its picture has not changed", "more than one colour: a sleeve, a hand"
  Ellipse outline;            // px
  Vec2 smear = Vec2::Zero();  // px in the exposure
  bool moving = false;
  // Of the fit, where it came that far.
  bool fitted = false;
  Vec2 at = Vec2::Zero();       // m
  double u = 0;                 // m, the larger of the two directions
  double visible = 0;           // share of the outline
  double contrast = 0;          // standard deviations of a pixel
  std::vector<float> colour{};  // as Sighting::colour
};

}  // namespace baizetrace::sight
