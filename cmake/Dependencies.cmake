# Every dependency, in one place. All from Debian's packages; README.md lists the packages.
find_package(Eigen3 3.4 REQUIRED NO_MODULE)
find_package(fmt REQUIRED)
find_package(spdlog REQUIRED)
find_package(OpenCV REQUIRED COMPONENTS core imgproc calib3d imgcodecs)
find_package(Ceres REQUIRED)
find_package(nlohmann_json REQUIRED)
find_package(tl-expected REQUIRED)
find_package(PkgConfig REQUIRED)
# Debian's imgcodecs brings nearly 80 libraries with it, and every command starts 0.1 to 0.2 s later for them: the
# program reads and writes its stills by these two, tests and tools by OpenCV.
pkg_check_modules(STILLS REQUIRED IMPORTED_TARGET libturbojpeg libpng)
pkg_check_modules(FFMPEG REQUIRED IMPORTED_TARGET libavformat libavcodec libavutil libswscale)
pkg_check_modules(TOMLPP REQUIRED IMPORTED_TARGET tomlplusplus)
find_package(CLI11 REQUIRED)
find_package(Threads REQUIRED)

# OpenCV's own targets do not mark their headers as system headers.
add_library(baizetrace_opencv INTERFACE)
target_include_directories(baizetrace_opencv SYSTEM INTERFACE ${OpenCV_INCLUDE_DIRS})
target_link_libraries(baizetrace_opencv INTERFACE opencv_core opencv_imgproc opencv_calib3d)
