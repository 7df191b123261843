#include "tools/bench/reference.h"

#include <vector>

#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>

#ifdef BENCH_HAS_ARUCO
#include <opencv2/aruco.hpp>
#include <opencv2/imgcodecs.hpp>
#endif

namespace {

cv::Matx33d camera_matrix(const double *l) {
    return cv::Matx33d(l[0], 0, l[2], 0, l[1], l[3], 0, 0, 1);
}

cv::Vec<double, 5> distortion(const double *l) {
    return cv::Vec<double, 5>(l[4], l[5], l[6], l[7], l[8]);
}

template <typename Point> std::vector<Point> points2(const double *uv, int n) {
    std::vector<Point> out;
    out.reserve(static_cast<size_t>(n));
    for (int i = 0; i < n; i++) {
        out.emplace_back(static_cast<typename Point::value_type>(uv[2 * i]),
                         static_cast<typename Point::value_type>(uv[2 * i + 1]));
    }
    return out;
}

template <typename Point> std::vector<Point> points3(const double *xyz, int n) {
    std::vector<Point> out;
    out.reserve(static_cast<size_t>(n));
    for (int i = 0; i < n; i++) {
        out.emplace_back(static_cast<typename Point::value_type>(xyz[3 * i]),
                         static_cast<typename Point::value_type>(xyz[3 * i + 1]),
                         static_cast<typename Point::value_type>(xyz[3 * i + 2]));
    }
    return out;
}

} // namespace

void ref_settle(int n_threads) {
    cv::setNumThreads(n_threads);
}

#ifdef BENCH_HAS_ARUCO

bool ref_has_aruco(void) {
    return true;
}

bool ref_detect_markers(const char *path, void (*found)(void *context, int id, const double uv[8]),
                        void *context) {
    try {
        const cv::Mat image = cv::imread(path);
        if (image.empty()) return false;
        const auto family = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11);
        const auto parameters = cv::aruco::DetectorParameters::create();
        parameters->cornerRefinementMethod = cv::aruco::CORNER_REFINE_SUBPIX;
        std::vector<std::vector<cv::Point2f>> corners;
        std::vector<int> ids;
        cv::aruco::detectMarkers(image, family, corners, ids, parameters);
        for (size_t i = 0; i < ids.size(); i++) {
            double uv[8];
            for (size_t k = 0; k < 4; k++) {
                /* OpenCV's first corner is the top left one of the tag turned by half a turn, and
                   the others follow clockwise; ours begin at the bottom left, anticlockwise. */
                const cv::Point2f &p = corners[i][(5 - k) % 4];
                uv[2 * k] = static_cast<double>(p.x);
                uv[2 * k + 1] = static_cast<double>(p.y);
            }
            found(context, ids[i], uv);
        }
        return true;
    } catch (...) {
        return false;
    }
}

#else

bool ref_has_aruco(void) {
    return false;
}

bool ref_detect_markers(const char *, void (*)(void *, int, const double[8]), void *) {
    return false;
}

#endif

bool ref_solve_pnp(const double *xyz, const double *uv, int n, const double lens[9],
                   double rotation[9], double translation[3]) {
    try {
        cv::Vec3d r;
        cv::Vec3d t;
        cv::Matx33d R;
        if (!cv::solvePnP(points3<cv::Point3d>(xyz, n), points2<cv::Point2d>(uv, n),
                          camera_matrix(lens), distortion(lens), r, t)) {
            return false;
        }
        cv::Rodrigues(r, R);
        for (int i = 0; i < 9; i++) rotation[i] = R.val[i];
        for (int i = 0; i < 3; i++) translation[i] = t[i];
        return true;
    } catch (...) {
        return false;
    }
}

bool ref_chessboard(uint8_t *px, int width, int height, int columns, int rows, bool is_accurate,
                    double *uv) {
    try {
        const cv::Mat image(height, width, CV_8UC1, px);
        std::vector<cv::Point2f> corners;
        const int flags = cv::CALIB_CB_NORMALIZE_IMAGE |
                          (is_accurate ? cv::CALIB_CB_EXHAUSTIVE | cv::CALIB_CB_ACCURACY : 0);
        if (!cv::findChessboardCornersSB(image, cv::Size(columns, rows), corners, flags)) {
            return false;
        }
        for (size_t k = 0; k < corners.size(); k++) {
            uv[2 * k] = static_cast<double>(corners[k].x);
            uv[2 * k + 1] = static_cast<double>(corners[k].y);
        }
        return corners.size() == static_cast<size_t>(columns) * static_cast<size_t>(rows);
    } catch (...) {
        return false;
    }
}

bool ref_calibrate(const double *xyz, const double *uv, int n, int n_views, int width, int height,
                   double lens[9]) {
    try {
        std::vector<std::vector<cv::Point3f>> objects;
        std::vector<std::vector<cv::Point2f>> images;
        for (int i = 0; i < n_views; i++) {
            objects.push_back(points3<cv::Point3f>(xyz, n));
            images.push_back(points2<cv::Point2f>(uv + 2 * n * i, n));
        }
        cv::Mat K = cv::Mat::eye(3, 3, CV_64F);
        cv::Mat d;
        cv::calibrateCamera(objects, images, cv::Size(width, height), K, d, cv::noArray(),
                            cv::noArray());
        lens[0] = K.at<double>(0, 0);
        lens[1] = K.at<double>(1, 1);
        lens[2] = K.at<double>(0, 2);
        lens[3] = K.at<double>(1, 2);
        for (int i = 0; i < 5; i++) lens[4 + i] = d.at<double>(i);
        return true;
    } catch (...) {
        return false;
    }
}
