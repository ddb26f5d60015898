#include "camera/rig.hpp"

#include <Eigen/Dense>
#include <nlohmann/json.hpp>

#include "base/files.hpp"

namespace baizetrace::camera {

namespace {
using nlohmann::json;

constexpr int kCameraParameters = 15;        // fx fy cx cy k1 k2 p1 p2 k3, rotation 3, t 3
constexpr int kParameters = 17;              // and half_width, half_length
constexpr double kRotationTolerance = 1e-6;  // of R R^T from the identity: files are written with all digits

// Reads values out of a JSON object; the first fault is kept, later reads return what they can.
class Reader {
 public:
  Reader(const json& object, std::string where, std::string& fault)
      : object_(object), where_(std::move(where)), fault_(fault) {}

  const json* get(const char* key, bool required) {
    asked_.emplace_back(key);
    const auto found = object_.find(key);
    if (found != object_.end()) return &*found;
    if (required) note(key, "is missing");
    return nullptr;
  }
  double number(const char* key, double low, double high, bool required = true, double fallback = 0) {
    const json* v = get(key, required);
    if (!v) return fallback;
    if (!v->is_number()) return note(key, "expected a number"), fallback;
    const double x = v->get<double>();
    if (!(x >= low && x <= high)) note(key, fmt::format("is {}, expected {} to {}", x, low, high));
    return x;
  }
  std::vector<double> numbers(const char* key, std::size_t count) {
    const json* v = get(key, true);
    return v ? numbers_of(*v, key, count) : std::vector<double>(count, 0.0);
  }
  std::vector<double> numbers_of(const json& v, const std::string& key, std::size_t count) {
    std::vector<double> out;
    if (v.is_array())
      for (const json& x : v)
        if (x.is_number()) out.push_back(x.get<double>());
    if (!v.is_array() || v.size() != count || out.size() != count) {
      note(key, fmt::format("expected {} numbers", count));
      out.assign(count, 0.0);
    }
    return out;
  }
  Eigen::MatrixXd matrix(const char* key, int rows, int columns) {
    Eigen::MatrixXd m = Eigen::MatrixXd::Zero(rows, columns);
    const json* v = get(key, true);
    if (!v) return m;
    if (!v->is_array() || v->size() != static_cast<std::size_t>(rows)) {
      note(key, fmt::format("expected {} rows of {} numbers", rows, columns));
      return m;
    }
    for (int r = 0; r < rows; ++r) {
      const auto row = numbers_of((*v)[static_cast<std::size_t>(r)], fmt::format("{}[{}]", key, r),
                                  static_cast<std::size_t>(columns));
      for (int c = 0; c < columns; ++c) m(r, c) = row[static_cast<std::size_t>(c)];
    }
    return m;
  }
  void note(const std::string& key, const std::string& why) {
    if (fault_.empty()) fault_ = fmt::format("{}{}: {}", where_, key, why);
  }
  void finish() {
    for (const auto& item : object_.items())
      if (std::find(asked_.begin(), asked_.end(), item.key()) == asked_.end())
        note(item.key(), "unknown key in a rig's file");
  }

 private:
  const json& object_;
  std::string where_;
  std::string& fault_;
  std::vector<std::string> asked_;
};

constexpr std::array<int, 4> kTurnDegrees{0, 90, 180, 270};  // clockwise, in the order of video::Turn

json rows_of(const Eigen::MatrixXd& m) {
  json rows = json::array();
  for (Eigen::Index r = 0; r < m.rows(); ++r) {
    json row = json::array();
    for (Eigen::Index c = 0; c < m.cols(); ++c) row.push_back(m(r, c));
    rows.push_back(row);
  }
  return rows;
}

// The camera with one of its 15 parameters moved by `step`.
Camera moved(const Camera& camera, int parameter, double step) {
  Camera c = camera;
  if (parameter == 0) c.lens.fx += step;
  if (parameter == 1) c.lens.fy += step;
  if (parameter == 2) c.lens.cx += step;
  if (parameter == 3) c.lens.cy += step;
  if (parameter >= 4 && parameter < 9) c.lens.distortion[static_cast<std::size_t>(parameter - 4)] += step;
  if (parameter >= 9 && parameter < 12) {
    const Vec3 axis = Vec3::Unit(parameter - 9);
    c.pose.R = Eigen::AngleAxisd(step, axis).toRotationMatrix() * c.pose.R;
  }
  if (parameter >= 12) c.pose.t[parameter - 12] += step;
  return c;
}

// The rig's share in a ball's place. `noses`: +-1, measured from the nose on that side; 0: from the table's middle.
Mat2 share(const Rig& rig, const Vec2& at, double ball_radius, const Vec2& noses) {
  const Eigen::MatrixXd& covariance = rig.covariance;
  const Camera& camera = rig.camera;
  if (covariance.rows() != kParameters || covariance.cols() != kParameters) return Mat2::Zero();
  const Vec3 place(at.x(), at.y(), ball_radius);
  if (!camera.project(place)) return Mat2::Zero();
  // A ball seen at a fixed pixel: J_place dplace + (d pixel / d parameters) dparameters = 0. The table's own size
  // moves no ray, but its noses.
  const Mat2 pixels_per_metre = camera.plane_jacobian(place);
  if (!(std::abs(pixels_per_metre.determinant()) > 0)) return Mat2::Zero();
  const double f = camera.lens.fx;
  Eigen::Matrix<double, 2, kParameters> by_parameter = Eigen::Matrix<double, 2, kParameters>::Zero();
  for (int i = 0; i < kCameraParameters; ++i) {
    // Steps that move a pixel by some 1e-3 px: central differences are then good to 1e-9 of the derivative.
    const double step = i < 4 ? 1e-3 : 1e-3 / f;
    const auto ahead = moved(camera, i, step).project(place);
    const auto behind = moved(camera, i, -step).project(place);
    if (!ahead || !behind) return Mat2::Zero();
    by_parameter.col(i) = (*ahead - *behind) / (2 * step);
  }
  Eigen::Matrix<double, 2, kParameters> g = -pixels_per_metre.inverse() * by_parameter;
  g.rightCols<2>() = -Mat2(noses.asDiagonal());
  return g * covariance * g.transpose();
}
}  // namespace

Mat2 Rig::place_covariance(const Vec2& at, double ball_radius) const {
  return share(*this, at, ball_radius, Vec2::Zero());
}

Mat2 Rig::place_covariance_off_noses(const Vec2& at, double ball_radius) const {
  return share(*this, at, ball_radius, Vec2(std::copysign(1.0, at.x()), std::copysign(1.0, at.y())));
}

Mat2 Rig::size_covariance() const {
  if (covariance.rows() != kParameters || covariance.cols() != kParameters) return Mat2::Zero();
  return covariance.bottomRightCorner<2, 2>();
}

Result<Rig> read_rig(const std::string& file) {
  const auto text = read_text(file);
  if (!text) return pass_on(text);
  json root;
  try {
    root = json::parse(*text);
  } catch (const json::parse_error& e) {
    return fail("{}: not a rig's file: no valid JSON at byte {}", file, e.byte);
  }
  if (!root.is_object()) return fail("{}: not a rig's file: expected a JSON object", file);
  if (root.value("format", json()) != "baizetrace/rig-1")
    return fail("{}: format: expected \"baizetrace/rig-1\", found {}", file,
                root.value("format", json("nothing")).dump());

  std::string fault;
  Reader r(root, "", fault);
  Rig rig;
  r.get("format", true);
  const auto image = r.numbers("image", 2);
  rig.camera.width = static_cast<int>(image[0]);
  rig.camera.height = static_cast<int>(image[1]);
  if (!(image[0] >= 16 && image[0] <= 32768 && image[1] >= 16 && image[1] <= 32768))
    r.note("image", "expected the picture's width and height in pixels");
  const Eigen::MatrixXd k = r.matrix("K", 3, 3);
  Lens& lens = rig.camera.lens;
  lens.fx = k(0, 0);
  lens.fy = k(1, 1);
  lens.cx = k(0, 2);
  lens.cy = k(1, 2);
  if (!(lens.fx > 0 && lens.fy > 0) || k(0, 1) != 0 || k(1, 0) != 0 || k(2, 0) != 0 || k(2, 1) != 0 || k(2, 2) != 1)
    r.note("K", "expected [[fx, 0, cx], [0, fy, cy], [0, 0, 1]] with fx, fy above 0");
  const auto distortion = r.numbers("distortion", 5);
  std::copy(distortion.begin(), distortion.end(), lens.distortion.begin());

  if (const json* pose = r.get("camera_from_table", true)) {
    if (pose->is_object()) {
      Reader p(*pose, "camera_from_table.", fault);
      rig.camera.pose.R = p.matrix("R", 3, 3);
      const auto t = p.numbers("t", 3);
      rig.camera.pose.t = Vec3(t[0], t[1], t[2]);
      const Mat3& R = rig.camera.pose.R;
      if ((R * R.transpose() - Mat3::Identity()).norm() > kRotationTolerance || R.determinant() < 0)
        p.note("R", "is no rotation");
      p.finish();
    } else {
      r.note("camera_from_table", "expected an object with R and t");
    }
  }
  rig.readout = r.number("readout", 0, 0.2);
  rig.u_readout = r.number("u_readout", 0, 0.2, false);
  if (const json* known = r.get("readout_known", false)) {
    if (known->is_boolean())
      rig.readout_known = known->get<bool>();
    else
      r.note("readout_known", "expected true or false");
  } else {
    rig.readout_known = true;
  }
  const double turned = r.number("turned_clockwise_deg", 0, 270, false);
  const auto turn = std::find(kTurnDegrees.begin(), kTurnDegrees.end(), static_cast<int>(turned));
  if (turn == kTurnDegrees.end() || *turn != turned)
    r.note("turned_clockwise_deg", "expected 0, 90, 180 or 270");
  else
    rig.turn = static_cast<video::Turn>(turn - kTurnDegrees.begin());

  if (const json* table = r.get("table", true)) {
    if (table->is_object()) {
      Reader t(*table, "table.", fault);
      if (const json* name = t.get("name", false)) {
        if (name->is_string())
          rig.table = name->get<std::string>();
        else
          t.note("name", "expected a table's name");
      }
      rig.half_width = t.number("half_width", 0.2, 2);
      rig.half_length = t.number("half_length", 0.4, 4);
      t.finish();
    } else {
      r.note("table", "expected an object with half_width and half_length");
    }
  }
  if (const json* spots = r.get("spots", false)) {
    if (spots->is_object())
      for (const auto& item : spots->items()) {
        const auto at = r.numbers_of(item.value(), "spots." + item.key(), 2);
        rig.spots[item.key()] = Vec2(at[0], at[1]);
      }
    else
      r.note("spots", "expected an object of places [x, y]");
  }
  if (const json* residuals = r.get("residuals", false)) {
    if (residuals->is_object())
      for (const auto& item : residuals->items()) {
        if (!item.value().is_object()) {
          r.note("residuals." + item.key(), "expected count, rms_pixels and rms");
          continue;
        }
        Reader k2(item.value(), "residuals." + item.key() + ".", fault);
        Residual& residual = rig.residuals[item.key()];
        residual.count = static_cast<int>(k2.number("count", 0, 1e9));
        residual.rms_pixels = k2.number("rms_pixels", 0, 1e6);
        residual.rms = k2.number("rms", 0, 1e3);
        k2.finish();
      }
    else
      r.note("residuals", "expected an object by kind of evidence");
  }
  if (root.contains("covariance")) {
    rig.covariance = r.matrix("covariance", kParameters, kParameters);
    if (!rig.covariance.isApprox(rig.covariance.transpose(), 1e-6)) r.note("covariance", "expected a symmetric matrix");
  }
  r.finish();
  if (!fault.empty()) return fail("{}: {}", file, fault);
  return rig;
}

std::string rig_json(const Rig& rig) {
  const Lens& lens = rig.camera.lens;
  nlohmann::ordered_json root;
  root["format"] = "baizetrace/rig-1";
  root["image"] = {rig.camera.width, rig.camera.height};
  root["K"] = {{lens.fx, 0, lens.cx}, {0, lens.fy, lens.cy}, {0, 0, 1}};
  root["distortion"] = lens.distortion;
  const Vec3& t = rig.camera.pose.t;
  root["camera_from_table"]["R"] = rows_of(rig.camera.pose.R);
  root["camera_from_table"]["t"] = {t.x(), t.y(), t.z()};
  root["readout"] = rig.readout;
  root["u_readout"] = rig.u_readout;
  root["readout_known"] = rig.readout_known;
  root["turned_clockwise_deg"] = kTurnDegrees[static_cast<std::size_t>(rig.turn)];
  root["table"] = {{"name", rig.table}, {"half_width", rig.half_width}, {"half_length", rig.half_length}};
  root["spots"] = nlohmann::ordered_json::object();
  for (const auto& [name, at] : rig.spots) root["spots"][name] = {at.x(), at.y()};
  root["residuals"] = nlohmann::ordered_json::object();
  for (const auto& [kind, r] : rig.residuals)
    root["residuals"][kind] = {{"count", r.count}, {"rms_pixels", r.rms_pixels}, {"rms", r.rms}};
  if (rig.covariance.size() > 0) root["covariance"] = rows_of(rig.covariance);
  // One line a top-level key: short enough to read, and a change shows where it is.
  std::string text = "{\n";
  bool first = true;
  for (const auto& item : root.items()) {
    if (!first) text += ",\n";
    first = false;
    text += "  " + nlohmann::ordered_json(item.key()).dump() + ": " + item.value().dump();
  }
  return text + "\n}\n";
}

table::Table table_of(const Rig& rig, const table::Spec& spec) {
  table::Table t = table::Table(spec).resized(rig.half_width, rig.half_length);
  for (const auto& [name, at] : rig.spots) t.set_spot(name, at);
  return t;
}

}  // namespace baizetrace::camera
