/* The same input gives the same bytes: however many threads there are, whatever ran before, and in
   whichever order the photos are named, which shows in the order of the list of photos alone. */
#include "small.h"

#include <jansson.h>

#include "base/file.h"
#include "calib/lens_run.h"
#include "check/check.h"
#include "job/job.h"
#include "present/check_json.h"
#include "present/picture.h"

enum { N_ORDERS = 24 }; /* 4! */

static int set_up(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    small_job_make(folder);
    small_boards_make(folder);
    if (chdir(folder) != 0) return -1;
    *state = folder;
    return 0;
}

static int tear_down(void **state) {
    if (chdir("/") != 0) return -1;
    temp_remove(*state);
    free(*state);
    return 0;
}

/* Order k of the four photos. */
static void order_photos(int k, char *files[SMALL_PHOTOS]) {
    static char names[SMALL_PHOTOS][8] = {"1.jpg", "2.jpg", "3.jpg", "4.jpg"};
    char *left[SMALL_PHOTOS] = {names[0], names[1], names[2], names[3]};
    for (int i = 0, n = SMALL_PHOTOS; n > 0; i++, n--) {
        int at = k % n;
        k /= n;
        files[i] = left[at];
        left[at] = left[n - 1];
    }
}

/* What a check says, and the SHA-256 of its picture. */
typedef struct {
    json_t *json; /* owned by the caller */
    char picture[65];
} result;

static void draw(const tr_check *c, char sha256[65]) {
    uint8_t *data;
    size_t size;
    tr_error err = {0};
    if (!tr_picture_write(&c->result, &c->set, "picture.png", &err)) fail_msg("%s", err.text);
    assert_true(tr_file_read("picture.png", (size_t)1 << 28, &data, &size, &err));
    tr_sha256_hex(data, size, sha256);
    free(data);
}

static result check(const char *job_path, char *const *files, int n_threads) {
    result r;
    tr_job job;
    tr_check c;
    tr_error err = {0};
    if (!tr_job_read(job_path, &job, &err)) fail_msg("%s %s", err.key, err.text);
    if (!tr_check_photos(&job, files, SMALL_PHOTOS, &(tr_workers){.n_threads = n_threads}, &c,
                         &err) ||
        !tr_check_evaluate(&job, &c, &err) || !tr_check_finish(&c, NULL, &err)) {
        fail_msg("%s", err.text);
    }
    r.json = tr_check_json(&c.result);
    assert_non_null(r.json);
    draw(&c, r.picture);
    tr_check_release(&c);
    tr_job_release(&job);
    return r;
}

/* Every digit of every number, and the order of the keys. Owned by the caller. */
static char *text_of(const json_t *json) {
    char *text = json_dumps(json, JSON_INDENT(1) | JSON_REAL_PRECISION(17) | JSON_PRESERVE_ORDER |
                                      JSON_ENCODE_ANY);
    assert_non_null(text);
    return text;
}

static void check_same(const result *a, const result *b) {
    char *x = text_of(a->json);
    char *y = text_of(b->json);
    if (strcmp(x, y) != 0) {
        size_t at = 0;
        while (x[at] == y[at]) at++;
        size_t from = at > 200 ? at - 200 : 0;
        print_error("first difference:\n%.260s\n---\n%.260s\n", x + from, y + from);
    }
    assert_string_equal(x, y);
    assert_string_equal(a->picture, b->picture);
    free(x);
    free(y);
}

/* Takes the list of photos out and sorts it by name: what is left must not depend on the order. */
static void sort_photos(json_t *json) {
    json_t *photos = json_object_get(json, "photos");
    json_t *sorted = json_array();
    assert_int_equal(json_array_size(photos), SMALL_PHOTOS);
    for (int k = 0; k < SMALL_PHOTOS; k++) {
        char name[16];
        snprintf(name, sizeof name, "%d.jpg", k + 1);
        for (size_t i = 0; i < json_array_size(photos); i++) {
            json_t *photo = json_array_get(photos, i);
            if (strcmp(json_string_value(json_object_get(photo, "file")), name) == 0)
                json_array_append(sorted, photo);
        }
    }
    assert_int_equal(json_array_size(sorted), SMALL_PHOTOS);
    assert_int_equal(json_object_set_new(json, "photos", sorted), 0);
}

static void threads_change_nothing(void **state) {
    (void)state;
    char *files[SMALL_PHOTOS];
    order_photos(0, files);
    result one = check("job.yaml", files, 1);
    for (int n_threads = 1; n_threads <= 4; n_threads++) {
        result more = check("job.yaml", files, n_threads);
        check_same(&one, &more);
        json_decref(more.json);
    }
    json_decref(one.json);
}

static void the_list_of_photos_is_in_the_order_given(void **state) {
    (void)state;
    for (int k = 0; k < N_ORDERS; k += 5) {
        char *files[SMALL_PHOTOS];
        order_photos(k, files);
        json_t *json = check("job.yaml", files, 2).json;
        const json_t *photos = json_object_get(json, "photos");
        for (size_t i = 0; i < SMALL_PHOTOS; i++) {
            const json_t *file = json_object_get(json_array_get(photos, i), "file");
            assert_string_equal(json_string_value(file), files[i]);
        }
        json_decref(json);
    }
}

static void check_orders(const char *job_path, bool has_warnings) {
    char *files[SMALL_PHOTOS];
    order_photos(0, files);
    result first = check(job_path, files, 2);
    assert_int_equal(json_array_size(json_object_get(first.json, "warnings")) > 0, has_warnings);
    sort_photos(first.json);
    for (int k = 1; k < N_ORDERS; k++) {
        order_photos(k, files);
        result other = check(job_path, files, 2);
        sort_photos(other.json);
        check_same(&first, &other);
        json_decref(other.json);
    }
    json_decref(first.json);
}

static void the_order_of_photos_changes_nothing(void **state) {
    (void)state;
    check_orders("job.yaml", false);
}

/* The lens is another. */
static void nor_where_something_does_not_fit(void **state) {
    (void)state;
    char text[sizeof SMALL_LENS + 64];
    snprintf(text, sizeof text, "%s", SMALL_LENS);
    char *fx = strstr(text, "fx_px: 330\n");
    assert_non_null(fx);
    memcpy(fx, "fx_px: 360\n", strlen("fx_px: 360\n"));
    small_text(".", "other-lens.yaml", text);
    char job[sizeof SMALL_JOB + 64];
    const char *rest = strstr(SMALL_JOB, "layout:");
    snprintf(job, sizeof job, "job: SMALL-2\nlens: other-lens.yaml\n%s", rest);
    small_text(".", "job-2.yaml", job);
    check_orders("job-2.yaml", true);
}

/* A sheet with one tag, of which several photos show as much: the picture shows it in the same one.
 */
static void nor_where_photos_show_as_much(void **state) {
    (void)state;
    small_text(".", "layout-3.yaml",
               "layout: SMALL-FRONT\n"
               "vehicle: Small estate car\n"
               "axes: rear-axle\n"
               "wheelbase_mm: 2700\n"
               "track_rear_mm: 1750\n"
               "placements:\n"
               "  - { sheet: P-2, from: rear-axle, x_mm: 2700, y_mm: 880, yaw_deg: 1,\n"
               "      limits: { x_mm: 20, y_mm: 20, yaw_deg: 1 } }\n");
    small_text(".", "job-3.yaml",
               "job: SMALL-3\n"
               "lens: lens.yaml\n"
               "layout: layout-3.yaml\n"
               "sheets: [mat.yaml, p0.yaml, p1.yaml, p2.yaml, p3.yaml]\n"
               "references:\n"
               "  - { point: rear-left, sheet: P-0 }\n"
               "  - { point: rear-right, sheet: P-1 }\n"
               "reference_sd_mm: 1.0\n");
    check_orders("job-3.yaml", true);
}

static tr_lens calibrate(int n_threads) {
    static char names[SMALL_BOARDS][24];
    char *files[SMALL_BOARDS];
    const tr_board board = {.squares_x = 7, .squares_y = 5, .pitch_mm = 60};
    tr_lens_run run;
    tr_error err = {0};
    for (int i = 0; i < SMALL_BOARDS; i++) {
        snprintf(names[i], sizeof names[i], "b%d.jpg", i + 1);
        files[i] = names[i];
    }
    if (!tr_lens_photos(&board, files, SMALL_BOARDS, &(tr_workers){.n_threads = n_threads}, &run,
                        &err) ||
        !tr_lens_solve(&run, &err)) {
        fail_msg("%s", err.text);
    }
    tr_lens lens = run.calibration.lens;
    tr_lens_run_release(&run);
    return lens;
}

static void nor_do_threads_in_a_calibration(void **state) {
    (void)state;
    tr_lens one = calibrate(1);
    for (int n_threads = 1; n_threads <= 3; n_threads++) {
        tr_lens more = calibrate(n_threads);
        assert_memory_equal(one.param, more.param, sizeof one.param);
        assert_memory_equal(one.covariance, more.covariance, sizeof one.covariance);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(threads_change_nothing),
        cmocka_unit_test(nor_do_threads_in_a_calibration),
        cmocka_unit_test(the_list_of_photos_is_in_the_order_given),
        cmocka_unit_test(the_order_of_photos_changes_nothing),
        cmocka_unit_test(nor_where_something_does_not_fit),
        cmocka_unit_test(nor_where_photos_show_as_much),
    };
    return cmocka_run_group_tests_name("determinism", tests, set_up, tear_down);
}
