#include "outside/opencv_ref.h"

#include <cmath>
#include <cstring>
#include <vector>

#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>

static cv::Matx33d camera_matrix(const double *l) {
    return cv::Matx33d(l[0], 0, l[2], 0, l[1], l[3], 0, 0, 1);
}

static cv::Vec<double, 5> distortion(const double *l) {
    return cv::Vec<double, 5>(l[4], l[5], l[6], l[7], l[8]);
}

static std::vector<cv::Point3d> points3(const double *xyz, int n) {
    std::vector<cv::Point3d> out;
    for (int i = 0; i < n; i++) out.emplace_back(xyz[3 * i], xyz[3 * i + 1], xyz[3 * i + 2]);
    return out;
}

static std::vector<cv::Point2d> points2(const double *uv, int n) {
    std::vector<cv::Point2d> out;
    for (int i = 0; i < n; i++) out.emplace_back(uv[2 * i], uv[2 * i + 1]);
    return out;
}

/* To the end: 200 steps or 1e-15. */
static const cv::TermCriteria TO_THE_END(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 200,
                                         1e-15);

bool ref_project(const double *xyz, int n, const double rotation[3], const double translation[3],
                 const double lens[9], double *uv, double *J) {
    try {
        std::vector<cv::Point2d> out;
        cv::Mat jacobian;
        cv::Vec3d r(rotation[0], rotation[1], rotation[2]);
        cv::Vec3d t(translation[0], translation[1], translation[2]);
        cv::projectPoints(points3(xyz, n), r, t, camera_matrix(lens), distortion(lens), out,
                          jacobian);
        for (int i = 0; i < n; i++) {
            uv[2 * i] = out[static_cast<size_t>(i)].x;
            uv[2 * i + 1] = out[static_cast<size_t>(i)].y;
        }
        if (!J) return true;
        if (jacobian.rows != 2 * n || jacobian.cols < REF_COLUMNS) return false;
        for (int i = 0; i < 2 * n; i++) {
            for (int j = 0; j < REF_COLUMNS; j++)
                J[i * REF_COLUMNS + j] = jacobian.at<double>(i, j);
        }
        return true;
    } catch (...) {
        return false;
    }
}

bool ref_solve_pnp(const double *xyz, const double *uv, int n, const double lens[9],
                   double rotation[3], double translation[3]) {
    try {
        cv::Mat r;
        cv::Mat t;
        if (!cv::solvePnP(points3(xyz, n), points2(uv, n), camera_matrix(lens), distortion(lens), r,
                          t, false, cv::SOLVEPNP_ITERATIVE)) {
            return false;
        }
        cv::solvePnPRefineLM(points3(xyz, n), points2(uv, n), camera_matrix(lens), distortion(lens),
                             r, t, TO_THE_END);
        std::memcpy(rotation, r.ptr<double>(), 3 * sizeof(double));
        std::memcpy(translation, t.ptr<double>(), 3 * sizeof(double));
        return true;
    } catch (...) {
        return false;
    }
}

int ref_solve_planar(const double *xyz, const double *uv, int n, const double lens[9],
                     double *rotation, double *translation, double *rms_px) {
    try {
        std::vector<cv::Mat> r;
        std::vector<cv::Mat> t;
        int found = cv::solvePnPGeneric(points3(xyz, n), points2(uv, n), camera_matrix(lens),
                                        distortion(lens), r, t, false, cv::SOLVEPNP_IPPE);
        if (found > 2) found = 2;
        for (int k = 0; k < found; k++) {
            cv::Mat &rk = r[static_cast<size_t>(k)];
            cv::Mat &tk = t[static_cast<size_t>(k)];
            cv::solvePnPRefineLM(points3(xyz, n), points2(uv, n), camera_matrix(lens),
                                 distortion(lens), rk, tk, TO_THE_END);
            std::memcpy(rotation + 3 * k, rk.ptr<double>(), 3 * sizeof(double));
            std::memcpy(translation + 3 * k, tk.ptr<double>(), 3 * sizeof(double));
            std::vector<double> back(2 * static_cast<size_t>(n));
            if (!ref_project(xyz, n, rotation + 3 * k, translation + 3 * k, lens, back.data(),
                             nullptr)) {
                return -1;
            }
            double sum = 0;
            for (int i = 0; i < 2 * n; i++) {
                double d = back[static_cast<size_t>(i)] - uv[i];
                sum += d * d;
            }
            rms_px[k] = std::sqrt(sum / (2.0 * n));
        }
        return found;
    } catch (...) {
        return -1;
    }
}

bool ref_calibrate(const double *xyz, const double *uv, const int *n_points, int n_photos,
                   int width_px, int height_px, double lens[9]) {
    try {
        std::vector<std::vector<cv::Point3f>> objects;
        std::vector<std::vector<cv::Point2f>> images;
        for (int i = 0; i < n_photos; i++) {
            std::vector<cv::Point3f> object;
            std::vector<cv::Point2f> image;
            for (int k = 0; k < n_points[i]; k++, xyz += 3, uv += 2) {
                object.emplace_back((float)xyz[0], (float)xyz[1], (float)xyz[2]);
                image.emplace_back((float)uv[0], (float)uv[1]);
            }
            objects.push_back(object);
            images.push_back(image);
        }
        cv::Matx33d K;
        cv::Vec<double, 5> d;
        std::vector<cv::Mat> rotations, translations;
        cv::calibrateCamera(objects, images, cv::Size(width_px, height_px), K, d, rotations,
                            translations, 0, TO_THE_END);
        const double found[9] = {K(0, 0), K(1, 1), K(0, 2), K(1, 2), d[0], d[1], d[2], d[3], d[4]};
        std::memcpy(lens, found, sizeof found);
        return true;
    } catch (const cv::Exception &) {
        return false;
    }
}
