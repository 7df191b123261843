/* Any small image, searched for the marks of a set of sheets that has tags of several families and
   checker corners. The first two bytes give the width and the height, the others the pixels. */
#include "fuzz.h"

#include <stdlib.h>
#include <string.h>

#include "marks/marks.h"

enum { MIN_SIDE = 1, MAX_SIDE = 160, N_SMALL = 30 };

/* A lens with some distortion, for an image of the given size. */
static tr_lens lens_for(int width, int height) {
    return (tr_lens){.id = "fuzz",
                     .width_px = width,
                     .height_px = height,
                     .param = {150, 151, width / 2.0, height / 2.0, 0.05, -0.1, 1e-3, -1e-3, 0.02}};
}

/* A plate with one tag and corners; a mat with two tags and a row of corners; a mat with every tag
   of a family so small that noise shows them. */
static const tr_sheet *sheets(int *n) {
    static tr_tag plate[] = {{.id = 3, .size_mm = 80}};
    static tr_tag pair[] = {{.id = 40, .centre_mm = {-60, 0}, .size_mm = 80},
                            {.id = 41, .centre_mm = {60, 0}, .size_mm = 80, .turn_rad = 0.5}};
    static tr_tag noise[N_SMALL];
    static tr_vec2 corners[] = {{-55, -55}, {55, -55}, {55, 55}, {-55, 55}};
    static tr_vec2 row[] = {{-100, 50}, {-50, 50}, {0, 50}, {50, 50}, {100, 50}};
    static const tr_sheet list[] = {
        {.id = "PLATE",
         .kind = TR_SHEET_PLATE,
         .width_mm = 160,
         .height_mm = 160,
         .tag_family = "tag36h11",
         .tags = plate,
         .n_tags = 1,
         .corners_mm = corners,
         .n_corners = 4},
        {.id = "MAT",
         .kind = TR_SHEET_MAT,
         .width_mm = 240,
         .height_mm = 140,
         .tag_family = "tag36h11",
         .tags = pair,
         .n_tags = 2,
         .corners_mm = row,
         .n_corners = 5},
        {.id = "NOISE",
         .kind = TR_SHEET_MAT,
         .width_mm = 700,
         .height_mm = 600,
         .tag_family = "tag16h5",
         .tags = noise,
         .n_tags = N_SMALL},
        {.id = "ROUND",
         .kind = TR_SHEET_BOARD,
         .width_mm = 160,
         .height_mm = 160,
         .tag_family = "tagCircle21h7",
         .tags = plate,
         .n_tags = 1},
    };
    for (int i = 0; i < N_SMALL; i++) {
        noise[i] =
            (tr_tag){.id = i, .centre_mm = {i % 6 * 110 - 275, i / 6 * 110 - 220.0}, .size_mm = 90};
    }
    *n = sizeof list / sizeof *list;
    return list;
}

static bool is_finite(const double *x, int n) {
    for (int i = 0; i < n; i++) {
        if (!isfinite(x[i])) return false;
    }
    return true;
}

static void check_marks(const tr_photo_marks *found, const tr_sheet *list, int n) {
    for (int i = 0; i < found->n_marks; i++) {
        const tr_mark *m = &found->marks[i];
        FUZZ_CHECK(m->sheet >= 0 && m->sheet < n && m->index >= 0);
        FUZZ_CHECK(m->index <
                   (m->kind == TR_MARK_TAG ? list[m->sheet].n_tags : list[m->sheet].n_corners));
        FUZZ_CHECK(m->n_points == (m->kind == TR_MARK_TAG ? 4 : 1));
        FUZZ_CHECK(is_finite(m->covariance, 4 * m->n_points * m->n_points));
        FUZZ_CHECK(is_finite(&m->sigma_px, 1) && is_finite(&m->contrast, 1));
        for (int k = 0; k < m->n_points; k++) FUZZ_CHECK(is_finite(&m->uv_px[k].x, 2));
        for (int k = 0; k < 2 * m->n_points; k++)
            FUZZ_CHECK(m->covariance[k * (2 * m->n_points + 1)] > 0);
    }
    for (int i = 0; i < found->n_views; i++) {
        const tr_sheet_view *view = &found->views[i];
        FUZZ_CHECK(view->sheet >= 0 && view->sheet < n && view->n_points >= 4);
        FUZZ_CHECK(view->n_poses == 1 || view->n_poses == 2);
        for (int k = 0; k < view->n_poses; k++) {
            const tr_planar_pose *pose = &view->pose[k];
            FUZZ_CHECK(is_finite(&pose->camera_from_plane.R.m[0][0], 9));
            FUZZ_CHECK(is_finite(&pose->camera_from_plane.t_mm.x, 3));
            FUZZ_CHECK(is_finite(&pose->rms_px, 1));
        }
    }
}

/* Sheets at places that the bytes tell, up to grazing, behind the camera and nowhere. */
static int predict(const uint8_t *data, size_t size, tr_sheet_prediction *out, int n) {
    int n_predicted = 0;
    for (int i = 0; i < n && size >= 8 * (size_t)(i + 1); i++) {
        const uint8_t *b = &data[8 * i];
        tr_vec3 turn = tr_v3((b[0] - 128) / 40.0, (b[1] - 128) / 40.0, (b[2] - 128) / 40.0);
        tr_vec3 t = tr_v3((b[3] - 128) * 4.0, (b[4] - 128) * 4.0, b[5] * 8.0 - 200);
        out[n_predicted++] = (tr_sheet_prediction){
            .sheet = i, .camera_from_sheet = {tr_rotation_from_vector(turn), t}};
    }
    return n_predicted;
}

static int side(uint8_t byte) {
    return MIN_SIDE + byte % MAX_SIDE;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static tr_marks_finder *finder; /* takes longer to make than a whole search */
    int n;
    const tr_sheet *list = sheets(&n);
    tr_image image;
    tr_photo_marks found;
    tr_error err = {0};
    if (size < 2) return 0;
    if (!finder) finder = tr_marks_finder_new(list, n, &err);
    FUZZ_CHECK(finder != NULL);
    FUZZ_CHECK(tr_image_init(&image, side(data[0]), side(data[1]), &err));
    size_t n_px = (size_t)image.width * (size_t)image.height;
    memcpy(image.px, data + 2, size - 2 < n_px ? size - 2 : n_px);
    tr_lens lens = lens_for(image.width, image.height);
    FUZZ_CHECK(tr_marks_find(finder, &image, &lens, &found, &err));
    check_marks(&found, list, n);
    tr_sheet_prediction predicted[8];
    int n_predicted = predict(data + 2, size - 2, predicted, n);
    FUZZ_CHECK(tr_marks_seek(finder, &image, &lens, predicted, n_predicted, &found, &err));
    check_marks(&found, list, n);
    tr_photo_marks_release(&found);
    tr_image_release(&image);
    return 0;
}
