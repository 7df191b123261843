/* The module's only function. Nothing of C++ gets out of it: no type, no exception. */
#include <cstdio>
#include <exception>
#include <new>
#include <vector>

#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/core/utils/logger.hpp>

#include "opencv/module.h"

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

tr_opencv_outcome fail(const char *why, char *text, size_t text_size) {
    std::snprintf(text, text_size, "%s", why);
    return TR_OPENCV_FAILED;
}

} // namespace

extern "C" tr_opencv_find tr_opencv_module_find;

tr_opencv_outcome tr_opencv_module_find(uint8_t *px, int width, int height, int inner_cols,
                                        int inner_rows, bool is_exhaustive, double *xy, char *text,
                                        size_t text_size) {
    try {
        settle();
        const cv::Mat grey(height, width, CV_8UC1, px);
        std::vector<cv::Point2f> corners;
        int flags = cv::CALIB_CB_NORMALIZE_IMAGE;
        if (is_exhaustive) flags |= cv::CALIB_CB_EXHAUSTIVE;
        if (!cv::findChessboardCornersSB(grey, cv::Size(inner_cols, inner_rows), corners, flags)) {
            return TR_OPENCV_NOT_FOUND;
        }
        const size_t n = static_cast<size_t>(inner_cols) * static_cast<size_t>(inner_rows);
        if (corners.size() != n) return TR_OPENCV_NOT_FOUND;
        for (size_t k = 0; k < n; k++) {
            xy[2 * k] = static_cast<double>(corners[k].x);
            xy[2 * k + 1] = static_cast<double>(corners[k].y);
        }
        return TR_OPENCV_FOUND;
    } catch (const std::bad_alloc &) {
        return TR_OPENCV_NO_MEMORY;
    } catch (const cv::Exception &e) {
        return e.code == cv::Error::StsNoMem ? TR_OPENCV_NO_MEMORY
                                             : fail(e.err.c_str(), text, text_size);
    } catch (const std::exception &e) {
        return fail(e.what(), text, text_size);
    } catch (...) {
        return fail("", text, text_size);
    }
}
