/* The picture and the text of six targets, and of free areas. The result is made up here, with a
   photo of it that is drawn through a wide lens. TRAMMEL_SHOW=1 keeps the pages. */
#include "check.h"

#include <cairo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "base/wrap.h"
#include "check/result.h"
#include "draw.h"
#include "image/image.h"
#include "job/free_area.h"
#include "present/check_json.h"
#include "present/check_json_read.h"
#include "present/check_text.h"
#include "present/free_area.h"
#include "present/labels.h"
#include "present/photo_view.h"
#include "present/picture.h"
#include "present/picture_pages.h"
#include "present/words.h"
#include "temp.h"
#include "text.h"

enum { N_TARGETS = 6, N_PLATES = 4, N_PHOTOS = 3, WIDTH = 1200, HEIGHT = 900 };

/* A sheet and how it is off: mm, degrees. */
typedef struct {
    const char *id, *title;
    bool is_upright, is_missing;
    double width, height;
    double x, y, z, yaw_deg;
    double off_x, off_y, off_yaw_deg, u95;
} made;

static const made MADE[N_TARGETS] = {
    {"MAT-7", "Rear floor mat, 1600 x 1000", false, false, 1600, 1000, -1800, 0, 0, 0, 2, -1, 0.1,
     1.5},
    {"BOARD-1", "Board on a stand, 900 x 700", true, false, 900, 700, 4200, 1200, 900, 0, 24, -14,
     1.2, 2.2},
    {"BOARD-2", "Board on a stand, 900 x 700", true, false, 900, 700, 4200, -1200, 900, 0, 3, 2,
     -0.1, 1.1},
    {"MAT-LEFT", "Side mat, 800 x 600", false, false, 800, 600, 1300, 2200, 0, 90, 9, 4, 0.3, 4.5},
    {"MAT-RIGHT", "Side mat, 800 x 600", false, true, 800, 600, 1300, -2200, 0, -90, 0, 0, 0, 0},
    {"REFLECTOR-3", "Small reflector, 300 x 300", true, false, 300, 300, 4250, 0, 500, 0, -1, 1, 0,
     1.0},
};

static tr_pose pose_of(const made *m, bool is_required) {
    double value[TR_N_AXES] = {m->x, m->y, m->z, m->yaw_deg * TR_RAD_PER_DEG, 0, 0};
    if (!is_required) {
        value[TR_X] += m->off_x;
        value[TR_Y] += m->off_y;
        value[TR_YAW] += m->off_yaw_deg * TR_RAD_PER_DEG;
    }
    return tr_pose_of_placement(value, m->is_upright);
}

/* ---- The result ---- */

static void set_axis(tr_axis_result *r, bool is_measured, double required, double error, double u95,
                     double limit) {
    *r = (tr_axis_result){.is_required = true,
                          .is_judged = limit > 0,
                          .required = required,
                          .limit = limit,
                          .verdict = TR_INCONCLUSIVE};
    if (!is_measured) return;
    r->is_measured = true;
    r->error = error;
    r->measured = required + error;
    r->u95 = u95;
    r->u95_of[TR_FROM_MARKS] = u95;
    if (r->is_judged) r->verdict = tr_verdict_decide(error, u95, limit);
}

static void join_axes(const tr_axis_result axis[TR_N_AXES], tr_verdict *verdict) {
    *verdict = TR_PASS;
    for (int k = 0; k < TR_N_AXES; k++) {
        if (axis[k].is_judged) *verdict = tr_verdict_join(*verdict, axis[k].verdict);
    }
}

/* Not inlined: GCC 12 would take the axes for one byte. */
__attribute__((noinline)) static void make_target(tr_check_result *r, int i) {
    const made *m = &MADE[i];
    tr_target_result *t = &r->targets[i];
    tr_sheet_result *s = &r->sheets[i];
    bool is = !m->is_missing;
    snprintf(s->id, sizeof s->id, "%s", m->id);
    snprintf(s->title, sizeof s->title, "%s", m->title);
    s->width_mm = m->width;
    s->height_mm = m->height;
    s->is_placed = is;
    s->n_photos = is ? 3 : 0;
    s->n_marks = is ? 24 : 0;
    s->vehicle_from_sheet = pose_of(m, false);
    t->sheet = i;
    t->photo = -1;
    t->vehicle_from_required = pose_of(m, true);
    double deg = TR_RAD_PER_DEG;
    set_axis(&t->axis[TR_X], is, m->x, m->off_x, m->u95, 10);
    set_axis(&t->axis[TR_Y], is, m->y, m->off_y, m->u95, 10);
    set_axis(&t->axis[TR_YAW], is, m->yaw_deg * deg, m->off_yaw_deg * deg, m->u95 / 20 * deg,
             0.5 * deg);
    if (m->is_upright) set_axis(&t->axis[TR_Z], is, m->z, 0.3, m->u95, 5);
    join_axes(t->axis, &t->verdict);
    if (t->verdict == TR_PASS || !is) return;
    s->kind = m->is_upright ? TR_SHEET_BOARD : TR_SHEET_MAT;
    t->is_to_move = true;
}

static void make_relation(tr_check_result *r, int i, int first, int second, double error) {
    tr_relation_result *rel = &r->relations[i];
    rel->targets[0] = first;
    rel->targets[1] = second;
    bool is = r->sheets[first].is_placed && r->sheets[second].is_placed;
    set_axis(&rel->axis[TR_X], is, MADE[second].x - MADE[first].x, error, 0.8, 5);
    set_axis(&rel->axis[TR_Y], is, MADE[second].y - MADE[first].y, 0.4, 0.8, 5);
    join_axes(rel->axis, &rel->verdict);
}

static tr_pose camera_looking(tr_vec3 from, tr_vec3 at) {
    tr_vec3 z = tr_v3_sub(at, from);
    z = tr_v3_scale(1 / tr_v3_norm(z), z);
    tr_vec3 x = tr_v3_cross(z, tr_v3(0, 0, 1));
    x = tr_v3_scale(1 / tr_v3_norm(x), x);
    return tr_pose_inverse((tr_pose){tr_m3_from_columns(x, tr_v3_cross(z, x), z), from});
}

static void make_photos(tr_check_result *r) {
    static const tr_vec3 FROM[N_PHOTOS] = {
        {-4200, 1500, 1700}, {1500, -900, 2600}, {-1500, 4200, 1600}};
    static const tr_vec3 AT[N_PHOTOS] = {{-1500, 0, 0}, {4200, 0, 500}, {1500, 1600, 0}};
    for (int i = 0; i < N_PHOTOS; i++) {
        tr_photo_result *p = &r->photos[i];
        char file[32];
        snprintf(file, sizeof file, "photo-%d.png", i + 1);
        p->file = strdup(file);
        assert_non_null(p->file);
        snprintf(p->name, sizeof p->name, "%s", file);
        snprintf(p->sha256, sizeof p->sha256, "%064d", i);
        p->width_px = WIDTH;
        p->height_px = HEIGHT;
        p->is_used = true;
        p->n_marks = 40;
        p->own_lens = (tr_lens){.width_px = WIDTH,
                                .height_px = HEIGHT,
                                .param = {820, 820, 597, 452, -0.21, 0.05, 0, 0, 0}};
        p->camera_from_vehicle = camera_looking(FROM[i], AT[i]);
        r->order[i] = i;
    }
}

/* The first that has the target's middle in it. */
static void choose_photos(tr_check_result *r) {
    for (int i = 0; i < r->n_targets; i++) {
        for (int k = 0; k < r->n_photos && r->targets[i].photo < 0; k++) {
            const tr_photo_result *p = &r->photos[k];
            tr_vec2 uv;
            tr_vec3 at =
                tr_pose_apply(p->camera_from_vehicle, r->targets[i].vehicle_from_required.t_mm);
            bool is_seen = tr_lens_project(&p->own_lens, at, &uv, NULL, NULL) && uv.x > 0 &&
                           uv.y > 0 && uv.x < WIDTH && uv.y < HEIGHT;
            if (is_seen && r->sheets[i].is_placed) r->targets[i].photo = k;
        }
    }
}

static tr_check_result six_targets(void) {
    static const double POINTS[N_PLATES][2] = {{0, 875}, {0, -875}, {2699, 880}, {2699, -880}};
    static const tr_wheel_point WHEELS[N_PLATES] = {TR_REAR_LEFT, TR_REAR_RIGHT, TR_FRONT_LEFT,
                                                    TR_FRONT_RIGHT};
    tr_check_result r = {.has_job = true,
                         .n_targets = N_TARGETS,
                         .n_relations = 2,
                         .n_sheets = N_TARGETS + N_PLATES,
                         .n_plates = N_PLATES,
                         .n_photos = N_PHOTOS,
                         .wheelbase = {true, 2699.1, 2.1, 2700},
                         .track_front = {true, 1760.4, 2.2, 0},
                         .track_rear = {true, 1750.3, 2.0, 1750},
                         .reference_sd_mm = 1,
                         .variance_factor = 1,
                         .degrees_of_freedom = 200};
    snprintf(r.job, sizeof r.job, "J-0151");
    snprintf(r.layout, sizeof r.layout, "DEMO-ROUND");
    snprintf(r.vehicle, sizeof r.vehicle, "Demo estate car");
    r.targets = calloc(N_TARGETS, sizeof *r.targets);
    r.relations = calloc(2, sizeof *r.relations);
    r.sheets = calloc(N_TARGETS + N_PLATES, sizeof *r.sheets);
    r.plates = calloc(N_PLATES, sizeof *r.plates);
    r.photos = calloc(N_PHOTOS, sizeof *r.photos);
    r.order = calloc(N_PHOTOS, sizeof *r.order);
    assert_true(r.targets && r.relations && r.sheets && r.plates && r.photos && r.order);
    r.verdict = TR_PASS;
    for (int i = 0; i < N_TARGETS; i++) {
        make_target(&r, i);
        r.verdict = tr_verdict_join(r.verdict, r.targets[i].verdict);
    }
    make_relation(&r, 0, 1, 2, -21);
    make_relation(&r, 1, 3, 4, 0);
    for (int i = 0; i < N_PLATES; i++) {
        tr_sheet_result *s = &r.sheets[N_TARGETS + i];
        snprintf(s->id, sizeof s->id, "PLATE-%c", 'A' + i);
        *s = (tr_sheet_result){.width_mm = 200,
                               .height_mm = 200,
                               .is_placed = true,
                               .n_photos = 2,
                               .n_marks = 8,
                               .vehicle_from_sheet = tr_pose_identity()};
        snprintf(s->id, sizeof s->id, "PLATE-%c", 'A' + i);
        s->vehicle_from_sheet.t_mm = tr_v3(POINTS[i][0], POINTS[i][1], 0);
        r.plates[i] = (tr_plate_result){.point = WHEELS[i],
                                        .sheet = N_TARGETS + i,
                                        .is_placed = true,
                                        .at_mm = tr_v3(POINTS[i][0], POINTS[i][1], 0)};
        snprintf(r.plates[i].name, sizeof r.plates[i].name, "%s", tr_wheel_point_name(WHEELS[i]));
    }
    make_photos(&r);
    choose_photos(&r);
    return r;
}

/* ---- The photos ---- */

/* What a ray meets: a sheet's face, else the floor. */
static double shade_of(const tr_check_result *r, tr_vec3 from, tr_vec3 d) {
    double nearest = d.z < 0 ? -from.z / d.z : INFINITY;
    tr_vec3 p = tr_v3_add(from, tr_v3_scale(nearest, d));
    double grey = nearest < 15000 ? 118 + 12 * sin(p.x / 90) * sin(p.y / 70) : 60;
    for (int i = 0; i < r->n_sheets; i++) {
        const tr_sheet_result *s = &r->sheets[i];
        if (!s->is_placed) continue;
        tr_pose sheet_from_vehicle = tr_pose_inverse(s->vehicle_from_sheet);
        tr_vec3 o = tr_pose_apply(sheet_from_vehicle, from);
        tr_vec3 e = tr_m3_apply(sheet_from_vehicle.R, d);
        double reach = -o.z / e.z;
        if (!(reach > 0) || reach > nearest + 1) continue;
        double u = (o.x + reach * e.x) / s->width_mm + 0.5;
        double v = (o.y + reach * e.y) / s->height_mm + 0.5;
        if (!(u >= 0 && u <= 1 && v >= 0 && v <= 1)) continue;
        nearest = reach;
        bool is_cell = ((int)(8 * u) + (int)(6 * v)) % 2;
        bool is_edge = fabs(u - 0.5) > 0.46 || fabs(v - 0.5) > 0.46;
        grey = is_cell && !is_edge ? 40 : 220;
    }
    return grey;
}

static void draw_photo(const tr_check_result *r, tr_photo_result *photo) {
    tr_error err = {0};
    tr_image image;
    assert_true(tr_image_init(&image, WIDTH, HEIGHT, &err));
    tr_pose vehicle_from_camera = tr_pose_inverse(photo->camera_from_vehicle);
    for (int v = 0; v < HEIGHT; v++) {
        for (int u = 0; u < WIDTH; u++) {
            double grey = 70;
            tr_vec2 xy;
            if (tr_lens_undistort(&photo->own_lens, tr_v2(u, v), &xy)) {
                tr_vec3 d = tr_m3_apply(vehicle_from_camera.R, tr_v3(xy.x, xy.y, 1));
                grey = shade_of(r, vehicle_from_camera.t_mm, d);
            }
            image.px[v * WIDTH + u] = (uint8_t)grey;
        }
    }
    assert_true(tr_image_write_png(&image, photo->file, &err));
    tr_image_release(&image);
    uint8_t *data;
    size_t size;
    assert_true(tr_file_read(photo->file, (size_t)1 << 30, &data, &size, &err));
    tr_sha256_hex(data, size, photo->sha256);
    free(data);
}

static void draw_photos(tr_check_result *r) {
    for (int i = 0; i < r->n_photos; i++) draw_photo(r, &r->photos[i]);
}

static void remove_file(const char *path) {
    if (!getenv("TRAMMEL_SHOW")) unlink(path);
}

/* ---- Pages ---- */

static tr_picture_pages pages_of(const tr_check_result *r, const char *path) {
    tr_picture_pages pages;
    tr_error err = {0};
    assert_true(tr_picture_pages_of(r, path, &pages, &err));
    return pages;
}

static void pages_are_named_after_what_they_show(void **state) {
    (void)state;
    static const char *const FILES[] = {"a/b.PNG",
                                        "a/b-1-MAT-7.PNG",
                                        "a/b-2-BOARD-1.PNG",
                                        "a/b-3-BOARD-2.PNG",
                                        "a/b-4-MAT_LEFT.PNG",
                                        "a/b-5-__.PNG",
                                        "a/b-6-REFLECTOR-3.PNG"};
    tr_check_result r = six_targets();
    snprintf(r.sheets[3].id, sizeof r.sheets[3].id, "MAT/LEFT");
    snprintf(r.sheets[4].id, sizeof r.sheets[4].id, "Ä");
    tr_picture_pages pages = pages_of(&r, "a/b.PNG");
    assert_int_equal(pages.n, 7);
    assert_false(pages.is_pdf);
    for (int i = 0; i < pages.n; i++) {
        assert_string_equal(pages.items[i].file, FILES[i]);
        assert_int_equal(pages.items[i].kind, i == 0 ? TR_PAGE_OVERVIEW : TR_PAGE_TARGET);
        assert_int_equal(pages.items[i].target, i - 1);
    }
    tr_picture_pages_release(&pages);
    pages = pages_of(&r, "all.Pdf");
    assert_true(pages.is_pdf);
    assert_int_equal(pages.n, 7);
    for (int i = 0; i < pages.n; i++) assert_string_equal(pages.items[i].file, "all.Pdf");
    tr_picture_pages_release(&pages);
    /* One target has one page. */
    r.n_targets = 1;
    r.n_relations = 0;
    pages = pages_of(&r, "one.png");
    assert_int_equal(pages.n, 1);
    assert_int_equal(pages.items[0].kind, TR_PAGE_TARGET);
    assert_int_equal(pages.items[0].target, 0);
    assert_string_equal(pages.items[0].file, "one.png");
    tr_picture_pages_release(&pages);
    tr_check_result_release(&r);
}

/* No page of an older check stays under the name of one of this. */
static void without_a_measurement_each_page_says_so(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    tr_error err = {0};
    tr_fail(&r.why, TR_NO_MEASURE, "no photo shows a plate");
    tr_picture_pages pages = pages_of(&r, "failed.png");
    assert_int_equal(pages.n, 7);
    assert_true(tr_picture_write(&r, NULL, "failed.png", &err));
    uint8_t *first = NULL;
    size_t first_size = 0;
    for (int i = 0; i < pages.n; i++) {
        uint8_t *data;
        size_t size;
        assert_int_equal(pages.items[i].kind, TR_PAGE_FAILED);
        assert_true(tr_file_read(pages.items[i].file, (size_t)1 << 28, &data, &size, &err));
        unlink(pages.items[i].file);
        if (i == 0) {
            first = data;
            first_size = size;
            continue;
        }
        assert_int_equal(size, first_size);
        assert_memory_equal(data, first, size);
        free(data);
    }
    free(first);
    tr_picture_pages_release(&pages);
    pages = pages_of(&r, "failed.pdf");
    assert_int_equal(pages.n, 1);
    tr_picture_pages_release(&pages);
    tr_check_result_release(&r);
}

/* Pixels of a colour in a part of a page. */
static int count(cairo_surface_t *page, int x0, int y0, int x1, int y1, tr_colour colour) {
    const unsigned char *rows = cairo_image_surface_get_data(page);
    size_t stride = (size_t)cairo_image_surface_get_stride(page);
    int n = 0;
    for (int y = y0; y < y1; y++) {
        for (int x = x0; x < x1; x++) {
            uint32_t rgb;
            memcpy(&rgb, rows + (size_t)y * stride + 4 * (size_t)x, sizeof rgb);
            n += fabs((rgb >> 16 & 255) - 255 * colour.r) < 6 &&
                 fabs((rgb >> 8 & 255) - 255 * colour.g) < 6 &&
                 fabs((rgb & 255) - 255 * colour.b) < 6;
        }
    }
    return n;
}

/* The badge has the verdict of what the page is of. */
static void check_badge(const char *path, tr_verdict verdict) {
    cairo_surface_t *page = cairo_image_surface_create_from_png(path);
    assert_int_equal(cairo_surface_status(page), CAIRO_STATUS_SUCCESS);
    assert_int_equal(cairo_image_surface_get_width(page), TR_PICTURE_WIDTH_PX);
    assert_int_equal(cairo_image_surface_get_height(page), TR_PICTURE_HEIGHT_PX);
    for (tr_verdict v = TR_PASS; v <= TR_INCONCLUSIVE; v++) {
        int n = count(page, 36, 14, 140, 118, tr_verdict_colour(v));
        assert_int_equal(n > 3000, v == verdict);
    }
    cairo_surface_destroy(page);
}

static void six_targets_have_seven_pages(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    tr_error err = {0};
    draw_photos(&r);
    if (!tr_picture_write(&r, NULL, "pages.png", &err)) fail_msg("%s", err.text);
    tr_picture_pages pages = pages_of(&r, "pages.png");
    assert_int_equal(r.verdict, TR_FAIL);
    for (int i = 0; i < pages.n; i++) {
        check_badge(pages.items[i].file, i == 0 ? r.verdict : r.targets[i - 1].verdict);
        remove_file(pages.items[i].file);
    }
    tr_picture_pages_release(&pages);
    for (int i = 0; i < r.n_photos; i++) remove_file(r.photos[i].file);
    tr_check_result_release(&r);
}

/* All pages in one file, whose bytes are the same each time. */
static void a_pdf_has_all_pages(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    tr_error err = {0};
    char hex[2][65];
    draw_photos(&r);
    for (int i = 0; i < 2; i++) {
        uint8_t *data;
        size_t size;
        if (!tr_picture_write(&r, NULL, "pages.pdf", &err)) fail_msg("%s", err.text);
        assert_true(tr_file_read("pages.pdf", (size_t)1 << 28, &data, &size, &err));
        tr_sha256_hex(data, size, hex[i]);
        assert_memory_equal(data, "%PDF-", 5);
        /* Each page is an object of its own. */
        static const char PAGE[] = "/Type /Page ";
        int n = 0;
        for (size_t k = 0; k + sizeof PAGE <= size; k++) {
            n += memcmp(data + k, PAGE, sizeof PAGE - 1) == 0;
        }
        free(data);
        assert_int_equal(n, 1 + N_TARGETS);
    }
    assert_string_equal(hex[0], hex[1]);
    remove_file("pages.pdf");
    for (int i = 0; i < r.n_photos; i++) remove_file(r.photos[i].file);
    tr_check_result_release(&r);
}

/* Where one page cannot be written, none is. */
static void pages_are_written_all_or_none(void **state) {
    (void)state;
    char folder[TEMP_SIZE], path[TEMP_SIZE], third[TEMP_SIZE];
    temp_make(folder);
    temp_path(path, folder, "r.png");
    temp_path(third, folder, "r-3-BOARD-2.png");
    assert_int_equal(mkdir(third, 0700), 0);
    tr_check_result r = six_targets();
    tr_error err = {0};
    assert_false(tr_picture_write(&r, NULL, path, &err));
    assert_string_equal(err.file, third);
    assert_int_equal(temp_count(folder), 1);
    /* Nor where its name is that of a photo. */
    assert_int_equal(rmdir(third), 0);
    temp_write(third, "mine", 4);
    free(r.photos[1].file);
    r.photos[1].file = strdup(third);
    err = (tr_error){0};
    assert_false(tr_picture_write(&r, NULL, path, &err));
    assert_non_null(strstr(err.text, "is one of the photos"));
    assert_int_equal(temp_count(folder), 1);
    temp_remove(folder);
    tr_check_result_release(&r);
}

/* A page in one hand and a page of another check in the other can be told apart. */
static void another_check_has_another_mark(void **state) {
    (void)state;
    char mark[3][TR_CHECK_MARK_SIZE];
    tr_check_result r = six_targets();
    tr_check_mark(&r, mark[0]);
    r.photos[1].sha256[3] ^= 1;
    tr_check_mark(&r, mark[1]);
    r.targets[2].axis[TR_X].measured += 1;
    tr_check_mark(&r, mark[2]);
    for (int i = 0; i < 3; i++) assert_int_equal(strlen(mark[i]), TR_CHECK_MARK_SIZE - 1);
    assert_string_not_equal(mark[0], mark[1]);
    assert_string_not_equal(mark[1], mark[2]);
    tr_check_result_release(&r);
}

/* ---- Text ---- */

static void text_begins_with_one_line_a_target(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    char *text = check_text_of(&r, false);
    if (getenv("TRAMMEL_SHOW")) puts(text);
    const char *list = strstr(text, "6 targets");
    assert_non_null(list);
    for (int i = 0; i < N_TARGETS; i++) {
        char head[64];
        const char *first = strstr(list, MADE[i].id);
        snprintf(head, sizeof head, "%d. %s: ", i + 1, MADE[i].id);
        assert_non_null(first);
        assert_non_null(strstr(first, head)); /* its block comes later */
    }
    const char *line = strstr(list, "2 ✗ BOARD-1      fail");
    assert_non_null(line);
    assert_non_null(strstr(line, "► X forward +24.0 ±2.2, limit ±10.0; also Y"));
    assert_non_null(strstr(list, "5 ? MAT-RIGHT    inconclusive    not measured\n"));
    assert_non_null(strstr(list, "1 ✓ MAT-7        pass\n"));
    assert_non_null(
        strstr(list, "A ✗ 2 to 3       fail            X forward -21.0 ±0.8, limit ±5.0\n"));
    assert_non_null(strstr(list, "\n✗ A. From BOARD-1 to BOARD-2\n"));
    /* And ends with what is wrong, relations too. */
    const char *why = strstr(text, "Out of limits: BOARD-1 (X forward, Y left, yaw), from BOARD-1");
    assert_non_null(why);
    for (const char *c = text; *c;) {
        char row[1024];
        size_t n = strcspn(c, "\n");
        assert_true(n < sizeof row);
        memcpy(row, c, n);
        row[n] = 0;
        CHECK_AT_MOST(tr_text_columns(row), TR_TEXT_WIDTH);
        c += n + (c[n] == '\n');
    }
    free(text);
    /* With one target there is no list. */
    r.n_targets = 1;
    r.n_relations = 0;
    text = check_text_of(&r, false);
    assert_null(strstr(text, " targets"));
    assert_null(strstr(text, "1. MAT-7"));
    free(text);
    tr_check_result_release(&r);
}

/* ---- Free areas ---- */

/* A box from (x0, y0) to (x1, y1), or, with a fifth corner, that with a notch to its middle. */
static void add_area(tr_check_result *r, const char *name, double x0, double y0, double x1,
                     double y1, double height, bool has_notch) {
    tr_free_area_result *areas =
        realloc(r->free_areas, ((size_t)r->n_free_areas + 1) * sizeof *areas);
    assert_non_null(areas);
    r->free_areas = areas;
    tr_free_area_result *a = &areas[r->n_free_areas++];
    *a = (tr_free_area_result){
        .height_mm = height, .is_placed = true, .n_corners = has_notch ? 5 : 4};
    a->corners_mm = calloc(5, sizeof *a->corners_mm);
    assert_non_null(a->corners_mm);
    snprintf(a->name, sizeof a->name, "%s", name);
    a->corners_mm[0] = tr_v2(x0, y0);
    a->corners_mm[1] = tr_v2(x1, y0);
    a->corners_mm[2] = tr_v2(x1, y1);
    a->corners_mm[3] = tr_v2(x0, y1);
    a->corners_mm[4] = tr_v2((x0 + x1) / 2, (y0 + y1) / 2);
}

/* Of the middle of an edge; edges 0.. on the floor, then at the top, then upright. */
static bool is_edge_hidden(const tr_check_result *r, int edge, tr_vec3 camera) {
    tr_vec3 ends[2];
    const tr_free_area_result *a = &r->free_areas[0];
    tr_area_edge(a, edge, ends);
    tr_vec3 middle = tr_v3_scale(0.5, tr_v3_add(ends[0], ends[1]));
    return tr_area_hides(a, camera, middle);
}

/* A camera above the height of the box and outside one corner of it: of the twelve edges of a box
   three are hidden, those of the corner that lies farthest down and away. */
static void a_box_hides_its_far_corner(void **state) {
    (void)state;
    tr_check_result r = {.n_free_areas = 0};
    add_area(&r, "box", 0, 0, 2000, 1000, 800, false);
    /* Corner 2 at (2000, 1000) is the farthest: floor edges 1 (from corner 1 to 2) and 2, upright
       2. */
    static const bool ABOVE[12] = {0, 1, 1, 0, 0, 0, 0, 0, 0, 0, 1, 0};
    for (int e = 0; e < 12; e++) {
        assert_int_equal(is_edge_hidden(&r, e, tr_v3(-1500, -1200, 1700)), ABOVE[e]);
    }
    /* From below the top the far edges there are hidden too. */
    static const bool BELOW[12] = {0, 1, 1, 0, 0, 1, 1, 0, 0, 0, 1, 0};
    for (int e = 0; e < 12; e++) {
        assert_int_equal(is_edge_hidden(&r, e, tr_v3(-1500, -1200, 400)), BELOW[e]);
    }
    /* From in front of one face: its two uprights are seen, the two behind it are not. */
    static const bool FRONT[12] = {0, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1};
    for (int e = 0; e < 12; e++) {
        assert_int_equal(is_edge_hidden(&r, e, tr_v3(1000, -1800, 1500)), FRONT[e]);
    }
    /* From straight above, and from within, nothing is. */
    for (int e = 0; e < 12; e++) {
        assert_false(is_edge_hidden(&r, e, tr_v3(1000, 500, 300)));
        if (e < 4) assert_true(is_edge_hidden(&r, e, tr_v3(1000, 500, 2500)));
        if (e >= 4 && e < 8) assert_false(is_edge_hidden(&r, e, tr_v3(1000, 500, 2500)));
    }
    tr_check_result_release(&r);
}

/* A notch opens towards the left: what is in it is seen from there, and not from elsewhere. */
static void a_notch_is_seen_from_its_side(void **state) {
    (void)state;
    tr_check_result r = {.n_free_areas = 0};
    add_area(&r, "notch", 0, 0, 2000, 1000, 800, true);
    enum { NOTCH = 3, N = 5 }; /* the floor edge from corner 3 into the notch */
    /* The notch lies between corners 3 (0, 1000) and 0 (0, 0): it opens backward. */
    assert_false(is_edge_hidden(&r, NOTCH, tr_v3(-2000, 300, 1600)));
    assert_false(is_edge_hidden(&r, 2 * N + 4, tr_v3(-2000, 500, 1600)));
    assert_true(is_edge_hidden(&r, NOTCH, tr_v3(4000, 300, 1600)));
    assert_true(is_edge_hidden(&r, 2 * N + 4, tr_v3(4000, 500, 1600)));
    tr_check_result_release(&r);
}

/* Against a solid of many points: the way is walked in small steps. */
static void hidden_is_what_a_walk_says(void **state) {
    (void)state;
    enum { WAYS = 4000, STEPS = 1500 };
    tr_check_result r = {.n_free_areas = 0};
    add_area(&r, "notch", -500, -700, 1500, 900, 800, true);
    const tr_free_area_result *a = &r.free_areas[0];
    tr_draw d = draw_seeded("hidden");
    int n_hidden = 0;
    int n_open = 0;
    for (int i = 0; i < WAYS; i++) {
        tr_vec3 camera = {draw_between(&d, -4000, 4000), draw_between(&d, -4000, 4000),
                          draw_between(&d, 100, 2600)};
        tr_vec3 ends[2];
        tr_area_edge(a, i % tr_area_edges(a), ends);
        double s = draw_between(&d, 0.02, 0.98);
        tr_vec3 p = tr_v3_add(tr_v3_scale(1 - s, ends[0]), tr_v3_scale(s, ends[1]));
        int inside = 0;
        bool starts_inside = false;
        for (int k = 0; k < STEPS; k++) {
            double t = (k + 0.5) / STEPS;
            tr_vec3 at = tr_v3_add(tr_v3_scale(1 - t, camera), tr_v3_scale(t, p));
            bool is = at.z > 0 && at.z < a->height_mm &&
                      tr_polygon_has(a->corners_mm, a->n_corners, tr_v2(at.x, at.y));
            inside += is;
            starts_inside = starts_inside || (k == 0 && is);
        }
        /* What is too near to call, and a camera within, is left out. */
        if (starts_inside || (inside > 0 && inside < 4)) continue;
        assert_int_equal(tr_area_hides(a, camera, p), inside > 0);
        n_hidden += inside > 0;
        n_open += inside == 0;
    }
    assert_true(n_hidden > WAYS / 5 && n_open > WAYS / 5);
    tr_check_result_release(&r);
}

static void a_board_hides_what_is_behind_it(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    tr_vec3 board = r.sheets[1].vehicle_from_sheet.t_mm; /* upright, 900 x 700, looks backward */
    tr_vec3 camera = {board.x - 3000, board.y, board.z};
    assert_true(tr_sheets_hide(&r, camera, tr_v3(board.x + 1000, board.y + 100, board.z)));
    assert_false(tr_sheets_hide(&r, camera, tr_v3(board.x - 1000, board.y + 100, board.z)));
    assert_false(tr_sheets_hide(&r, camera, tr_v3(board.x + 1000, board.y + 700, board.z)));
    /* From the other side, too. */
    assert_true(tr_sheets_hide(&r, tr_v3(board.x + 1000, board.y, board.z), camera));
    /* The mat under an outline hides nothing of it; and what was not found hides nothing. */
    tr_vec3 mat = r.sheets[0].vehicle_from_sheet.t_mm;
    assert_false(tr_sheets_hide(&r, tr_v3(mat.x - 2000, 0, 1500), tr_v3(mat.x, 100, 0)));
    r.sheets[1].is_placed = false;
    assert_false(tr_sheets_hide(&r, camera, tr_v3(board.x + 1000, board.y + 100, board.z)));
    tr_check_result_release(&r);
}

static void photos_see_all_a_part_or_nothing(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    /* Photo 1 looks forward from behind the vehicle at (-1500, 0). */
    add_area(&r, "near", -1900, -300, -1300, 300, 400, false);
    add_area(&r, "wide", -6000, -6000, 6000, 6000, 400, false);
    add_area(&r, "behind", -9000, -500, -8000, 500, 400, false);
    add_area(&r, "under", -100000, -100000, 100000, 100000, 9000, false);
    add_area(&r, "board", 4400, 1000, 4600, 1400, 400, false);
    const tr_photo_result *photo = &r.photos[0];
    static const tr_area_sight SIGHTS[] = {TR_SEES_ALL, TR_SEES_PART, TR_SEES_NOTHING,
                                           TR_SEES_PART};
    for (int i = 0; i < 4; i++) {
        assert_int_equal(tr_area_sight_of(&r, &r.free_areas[i], photo), SIGHTS[i]);
    }
    /* A corner's pixel is where the lens of that photo has it. */
    tr_vec3 ends[2];
    tr_vec2 uv;
    tr_area_edge(&r.free_areas[0], 5, ends); /* the top, from corner 1 */
    CHECK_NEAR(ends[0].x, -1300, 0);
    CHECK_NEAR(ends[0].y, -300, 0);
    CHECK_NEAR(ends[0].z, 400, 0);
    assert_true(tr_lens_project(
        &photo->own_lens, tr_pose_apply(photo->camera_from_vehicle, ends[0]), &uv, NULL, NULL));
    tr_vec2 drawn = tr_photo_pixel(photo, ends[0]);
    CHECK_NEAR(drawn.x, uv.x, 0);
    CHECK_NEAR(drawn.y, uv.y, 0);
    /* A photo that is not used sees nothing. */
    r.photos[0].is_used = false;
    assert_int_equal(tr_area_sight_of(&r, &r.free_areas[0], photo), TR_SEES_NOTHING);
    tr_check_result_release(&r);
}

/* The line is drawn where the lens has the corner: white on black. */
static void check_drawn(const tr_check_result *r, const char *path) {
    static const tr_box FRAME = {36, 186, 1848, 906}; /* of a lone photo */
    const tr_photo_result *photo = &r->photos[0];
    cairo_surface_t *page = cairo_image_surface_create_from_png(path);
    assert_int_equal(cairo_surface_status(page), CAIRO_STATUS_SUCCESS);
    double scale = fmin(FRAME.width / WIDTH, FRAME.height / HEIGHT);
    double left = FRAME.x + (FRAME.width - scale * WIDTH) / 2;
    double top = FRAME.y + (FRAME.height - scale * HEIGHT) / 2;
    for (int edge = 0; edge < tr_area_edges(&r->free_areas[0]); edge++) {
        tr_vec3 ends[2];
        tr_area_edge(&r->free_areas[0], edge, ends);
        tr_vec2 uv = tr_photo_pixel(photo, ends[0]);
        int x = (int)lround(left + scale * (uv.x + 0.5));
        int y = (int)lround(top + scale * (uv.y + 0.5));
        if (count(page, x - 4, y - 4, x + 5, y + 5, TR_INK) < 4)
            fail_msg("%s: nothing is drawn near (%d, %d)", path, x, y);
    }
    cairo_surface_destroy(page);
}

static void free_areas_are_drawn_into_photos(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    tr_error err = {0};
    add_area(&r, "space behind", -3200, -900, -1200, 900, 700, false);
    draw_photos(&r);
    r.photos[1].is_used = r.photos[2].is_used = false;
    for (int i = 0; i < N_TARGETS; i++) {
        if (r.targets[i].photo > 0) r.targets[i].photo = -1;
    }
    if (!tr_picture_write(&r, NULL, "area.png", &err)) fail_msg("%s", err.text);
    tr_picture_pages pages = pages_of(&r, "area.png");
    assert_int_equal(pages.n, 8);
    assert_int_equal(pages.items[7].kind, TR_PAGE_AREAS);
    assert_string_equal(pages.items[7].file, "area-free-area-1.png");
    check_drawn(&r, pages.items[7].file);
    for (int i = 0; i < pages.n; i++) remove_file(pages.items[i].file);
    tr_picture_pages_release(&pages);
    /* Two areas, three photos. */
    r.photos[1].is_used = r.photos[2].is_used = true;
    add_area(&r, "lane ahead", 3600, -2000, 6000, 2000, 600, false);
    add_area(&r, "left", 300, 1500, 2300, 2900, 300, true);
    if (!tr_picture_write(&r, NULL, "areas.png", &err)) fail_msg("%s", err.text);
    pages = pages_of(&r, "areas.png");
    assert_int_equal(pages.n, 8);
    for (int i = 0; i < pages.n; i++) remove_file(pages.items[i].file);
    tr_picture_pages_release(&pages);
    /* One target: its page is the first. */
    r.n_targets = 1;
    r.n_relations = 0;
    pages = pages_of(&r, "areas.png");
    assert_int_equal(pages.n, 2);
    assert_int_equal(pages.items[0].kind, TR_PAGE_TARGET);
    assert_string_equal(pages.items[0].file, "areas.png");
    if (!tr_picture_write(&r, NULL, "areas-one.png", &err)) fail_msg("%s", err.text);
    remove_file("areas-one.png");
    remove_file("areas-one-free-area-1.png");
    tr_picture_pages_release(&pages);
    for (int i = 0; i < r.n_photos; i++) remove_file(r.photos[i].file);
    tr_check_result_release(&r);
}

static void text_says_who_has_to_look(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    char *text = check_text_of(&r, false);
    assert_null(strstr(text, "Free areas"));
    free(text);
    add_area(&r, "near", -1900, -300, -1300, 300, 400, false);
    add_area(&r, "wide", -6000, -6000, 6000, 6000, 400, false);
    text = check_text_of(&r, false);
    if (getenv("TRAMMEL_SHOW")) puts(strstr(text, "Free areas"));
    assert_non_null(
        strstr(text, "\nFree areas\n  near, up to 400 mm: photo-1.png shows all of it"));
    assert_non_null(strstr(text, "wide, up to 400 mm: No photo shows all of it. photo-1.png"));
    assert_non_null(strstr(text, "Take one more photo"));
    assert_null(strstr(text, "was not measured: it is drawn"));
    assert_non_null(strstr(text, "does not judge"));
    free(text);
    r.free_areas[1].is_placed = false;
    text = check_text_of(&r, false);
    assert_non_null(strstr(text, "What it counts from was not measured"));
    free(text);
    tr_check_result_release(&r);
}

static void free_areas_read_back(void **state) {
    (void)state;
    tr_check_result r = six_targets();
    tr_check_result read;
    tr_error err = {0};
    add_area(&r, "space behind", -3200.5, -900.25, -1200, 900, 700.125, true);
    r.free_areas[0].from[0].kind = r.free_areas[0].from[1].kind = TR_FROM_FRONT_AXLE;
    json_t *json = tr_check_json(&r);
    assert_non_null(json);
    json_t *area = json_array_get(json_object_get(json, "free_areas"), 0);
    assert_string_equal(json_string_value(json_object_get(area, "from")), "front-axle");
    json_t *seen = json_object_get(area, "seen");
    assert_true(json_array_size(seen) >= 1);
    assert_string_equal(json_string_value(json_object_get(json_array_get(seen, 0), "photo")),
                        "photo-1.png");
    if (!tr_check_json_read(json, &read, &err)) fail_msg("'%s' %s", err.key, err.text);
    assert_int_equal(read.n_free_areas, 1);
    const tr_free_area_result *a = &r.free_areas[0];
    const tr_free_area_result *b = &read.free_areas[0];
    assert_string_equal(b->name, a->name);
    assert_true(b->is_placed);
    assert_true(b->height_mm == a->height_mm);
    assert_int_equal(b->n_corners, 5);
    assert_memory_equal(b->corners_mm, a->corners_mm, 5 * sizeof *a->corners_mm);
    json_t *again = tr_check_json(&read);
    assert_true(
        json_equal(json_object_get(json, "free_areas"), json_object_get(again, "free_areas")));
    json_decref(again);
    json_object_del(area, "height_mm");
    tr_check_result_release(&read);
    assert_false(tr_check_json_read(json, &read, &err));
    assert_string_equal(err.key, "height_mm");
    tr_check_result_release(&read);
    json_decref(json);
    tr_check_result_release(&r);
}

/* ---- Labels ---- */

static void labels_never_overlap(void **state) {
    (void)state;
    enum { N = 40 };
    static const double W = 90, H = 30;
    tr_label_room room = {.within = {0, 0, 800, 600}};
    tr_vec2 at[N];
    tr_label_take(&room, (tr_box){350, 250, 100, 100});
    for (int i = 0; i < N; i++) at[i] = tr_label_place(&room, tr_v2(400, 300), W, H);
    for (int i = 0; i < N; i++) {
        assert_true(at[i].x - W / 2 >= 0 && at[i].x + W / 2 <= 800);
        assert_true(at[i].y - H / 2 >= 0 && at[i].y + H / 2 <= 600);
        assert_true(fabs(at[i].x - 400) >= W / 2 + 50 || fabs(at[i].y - 300) >= H / 2 + 50);
        for (int k = 0; k < i; k++) {
            assert_true(fabs(at[i].x - at[k].x) >= W || fabs(at[i].y - at[k].y) >= H);
        }
    }
    /* Free where it is wanted: there. */
    tr_vec2 free_place = tr_label_place(&room, tr_v2(60, 580), W, H);
    CHECK_NEAR(free_place.x, 60, 1e-9);
    CHECK_NEAR(free_place.y, 580, 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pages_are_named_after_what_they_show),
        cmocka_unit_test(without_a_measurement_each_page_says_so),
        cmocka_unit_test(six_targets_have_seven_pages),
        cmocka_unit_test(a_pdf_has_all_pages),
        cmocka_unit_test(pages_are_written_all_or_none),
        cmocka_unit_test(another_check_has_another_mark),
        cmocka_unit_test(text_begins_with_one_line_a_target),
        cmocka_unit_test(a_box_hides_its_far_corner),
        cmocka_unit_test(a_notch_is_seen_from_its_side),
        cmocka_unit_test(hidden_is_what_a_walk_says),
        cmocka_unit_test(a_board_hides_what_is_behind_it),
        cmocka_unit_test(photos_see_all_a_part_or_nothing),
        cmocka_unit_test(free_areas_are_drawn_into_photos),
        cmocka_unit_test(text_says_who_has_to_look),
        cmocka_unit_test(free_areas_read_back),
        cmocka_unit_test(labels_never_overlap),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
