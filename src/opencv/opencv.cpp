/* The headers of this program are C, and so are the functions that they declare. The C library's
   own come first, so that they are read as C++. */
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
extern "C" {
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wpedantic" /* compound literals, which C++ lacks */
#include "opencv/opencv.h"
#pragma GCC diagnostic pop
}

#include <exception>
#include <new>
#include <vector>

#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/core/utils/logger.hpp>

namespace {

int say_nothing(int, const char *, const char *, const char *, int, void *) {
    return 0;
}

/* OpenCV's settings are the process's or the thread's; setting them again changes nothing. */
void settle() {
    static const bool once = [] {
        cv::setNumThreads(1);
        cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
        cv::redirectError(say_nothing);
        return true;
    }();
    (void)once;
    cv::theRNG() = cv::RNG(1); /* this thread's */
}

} // namespace

bool tr_opencv_find_checkerboard(const tr_image *image, int inner_cols, int inner_rows,
                                 bool is_exhaustive, tr_vec2 *corners_px, bool *found,
                                 tr_error *err) {
    *found = false;
    try {
        settle();
        const cv::Mat grey(image->height, image->width, CV_8UC1, image->px);
        std::vector<cv::Point2f> corners;
        int flags = cv::CALIB_CB_NORMALIZE_IMAGE;
        if (is_exhaustive) flags |= cv::CALIB_CB_EXHAUSTIVE;
        if (!cv::findChessboardCornersSB(grey, cv::Size(inner_cols, inner_rows), corners, flags)) {
            return true;
        }
        const size_t n = static_cast<size_t>(inner_cols) * static_cast<size_t>(inner_rows);
        if (corners.size() != n) return true;
        for (size_t k = 0; k < n; k++) {
            corners_px[k] =
                tr_v2(static_cast<double>(corners[k].x), static_cast<double>(corners[k].y));
        }
        *found = true;
        return true;
    } catch (const std::bad_alloc &) {
        return tr_fail_memory(err);
    } catch (const cv::Exception &e) {
        if (e.code == cv::Error::StsNoMem) return tr_fail_memory(err);
        return tr_fail(err, TR_NO_MEASURE, "OpenCV's checkerboard finder failed: %s",
                       e.err.c_str());
    } catch (const std::exception &e) {
        return tr_fail(err, TR_NO_MEASURE, "OpenCV's checkerboard finder failed: %s", e.what());
    } catch (...) {
        return tr_fail(err, TR_NO_MEASURE, "OpenCV's checkerboard finder failed");
    }
}
