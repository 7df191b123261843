/* Photos that tell how they were taken, and how good they are, on their way through a whole check
   and a whole calibration. Those of another camera or zoom never lead to a pass; what they tell
   besides changes no digit of a result. */
#include "small.h"

#include <jansson.h>

#include "calib/lens_run.h"
#include "check/check.h"
#include "exif.h"
#include "image/photo_file.h"
#include "findings.h"
#include "job/job.h"
#include "lens/profile.h"
#include "present/check_json.h"
#include "present/words.h"

static const exif_fields PHONE = {.make = "Example",
                                  .model = "Phone 3",
                                  .taken = "2026:03:02 10:15:07",
                                  .focal_length_mm = {543, 100},
                                  .equivalent_mm = 26,
                                  .orientation = 1};

/* ---- a check ---- */

typedef struct {
    tr_job job;
    tr_check check;
    tr_error err;
    bool is_measured;
} outcome;

static void evaluate(outcome *o) {
    tr_error err = {0};
    o->is_measured = tr_check_evaluate(&o->job, &o->check, &o->err);
    assert_true(tr_check_finish(&o->check, o->is_measured ? NULL : &o->err, &err));
}

/* Photos NAME1.jpg .. NAME4.jpg; camera NULL: the profile does not tell any. */
static outcome *check_job(const char *folder, const char *job, const char *name,
                          const tr_camera *camera) {
    outcome *o = calloc(1, sizeof *o);
    char path[TEMP_SIZE];
    char paths[SMALL_PHOTOS][TEMP_SIZE];
    char *files[SMALL_PHOTOS];
    assert_non_null(o);
    for (int i = 0; i < SMALL_PHOTOS; i++) {
        char file[64];
        snprintf(file, sizeof file, "%.40s%d.jpg", name, i + 1);
        temp_path(paths[i], folder, file);
        files[i] = paths[i];
    }
    if (!tr_job_read(temp_path(path, folder, job), &o->job, &o->err)) fail_msg("%s", o->err.text);
    if (camera) o->job.lenses[0].camera = *camera;
    assert_true(tr_check_photos(&o->job, files, SMALL_PHOTOS, &(tr_workers){.n_threads = 2},
                                &o->check, &o->err));
    evaluate(o);
    return o;
}

static outcome *check_photos(const char *folder, const char *name, const tr_camera *camera) {
    return check_job(folder, "job.yaml", name, camera);
}

static void release(outcome *o) {
    tr_check_release(&o->check);
    tr_job_release(&o->job);
    free(o);
}

/* Photo i as PHONE, or as another. */
static void tell(const char *folder, const char *name, int i, const exif_fields *f) {
    char from[64], to[64];
    snprintf(from, sizeof from, "%d.jpg", i + 1);
    snprintf(to, sizeof to, "%.40s%d.jpg", name, i + 1);
    exif_copy(folder, from, to, f);
}

static const tr_finding *warning_of(const outcome *o, const char *code) {
    return finding_of(&o->check.result.findings, code);
}

static void check_has(const char *text, const char *part) {
    if (!strstr(text, part)) print_error("'%s' lacks '%s'\n", text, part);
    assert_non_null(strstr(text, part));
}

/* Without what names the files. */
static char *numbers_of(const outcome *o) {
    json_t *json = tr_check_json(&o->check.result);
    assert_non_null(json);
    size_t i;
    json_t *target;
    json_t *photo;
    json_array_foreach(json_object_get(json, "targets"), i, target) {
        json_object_del(target, "photo");
    }
    json_array_foreach(json_object_get(json, "photos"), i, photo) {
        json_object_del(photo, "file");
        json_object_del(photo, "name");
        json_object_del(photo, "sha256");
        json_object_del(photo, "camera");
        json_object_del(photo, "taken");
    }
    char *text = json_dumps(json, JSON_INDENT(1) | JSON_REAL_PRECISION(17));
    assert_non_null(text);
    json_decref(json);
    return text;
}

static tr_camera phone_camera(void) {
    return (tr_camera){
        .name = "Example Phone 3", .focal_length_mm = 5.43, .equivalent_focal_length_mm = 26};
}

/* An image in memory is worth the same as its file. */
static void images_in_memory_measure_the_same(void **state) {
    outcome *by_files = check_photos(*state, "", NULL);
    outcome *o = calloc(1, sizeof *o);
    char path[TEMP_SIZE];
    assert_non_null(o);
    if (!tr_job_read(temp_path(path, *state, "job.yaml"), &o->job, &o->err)) fail();
    assert_true(tr_check_init(&o->job, &o->check, &o->err));
    for (int i = 0; i < SMALL_PHOTOS; i++) {
        tr_photo_file file;
        assert_true(tr_photo_file_read(by_files->check.set.photos[i].file, &file, &o->err));
        tr_photo *photo =
            tr_photo_set_add(&o->check.set, by_files->check.set.photos[i].file, &o->err);
        assert_non_null(photo);
        photo->image = file.image;
        photo->exif = file.exif;
    }
    assert_true(tr_photo_set_read(&o->check.set, NULL, 0, &(tr_workers){.n_threads = 2},
                                  &o->check.result.findings, &o->err));
    evaluate(o);
    for (int i = 0; i < SMALL_PHOTOS; i++) {
        /* Of the pixels, not of a file. */
        assert_string_not_equal(o->check.set.photos[i].sha256,
                                by_files->check.set.photos[i].sha256);
        assert_non_null(o->check.set.photos[i].image.px);
    }
    char *a = numbers_of(by_files);
    char *b = numbers_of(o);
    assert_true(by_files->is_measured && o->is_measured);
    assert_string_equal(a, b);
    free(a);
    free(b);
    release(o);
    release(by_files);
}

/* A phone held upright, upside down, ...: the file's pixels are the same, and so is every number.
 */
static void orientation_changes_no_number(void **state) {
    outcome *plain = check_photos(*state, "", NULL);
    assert_true(plain->is_measured);
    assert_int_equal(plain->check.result.verdict, TR_PASS);
    assert_int_equal(plain->check.result.findings.n, 0);
    char *wanted = numbers_of(plain);
    for (int orientation = 6; orientation <= 8; orientation++) {
        for (int i = 0; i < SMALL_PHOTOS; i++) {
            exif_fields f = PHONE;
            f.orientation = orientation;
            tell(*state, "turned-", i, &f);
        }
        outcome *turned = check_photos(*state, "turned-", NULL);
        for (int i = 0; i < SMALL_PHOTOS; i++)
            assert_int_equal(turned->check.set.photos[i].exif.orientation, orientation);
        char *numbers = numbers_of(turned);
        assert_string_equal(numbers, wanted);
        free(numbers);
        release(turned);
    }
    free(wanted);
    release(plain);
}

/* Nothing is made of it where either side tells nothing, or both the same. */
static void photos_of_the_same_lens_pass(void **state) {
    const tr_camera camera = phone_camera();
    for (int i = 0; i < SMALL_PHOTOS; i++) tell(*state, "same-", i, &PHONE);
    for (int k = 0; k < 3; k++) {
        outcome *o = check_photos(*state, k == 0 ? "" : "same-", k == 2 ? NULL : &camera);
        assert_true(o->is_measured);
        assert_int_equal(o->check.result.verdict, TR_PASS);
        assert_int_equal(o->check.result.findings.n, 0);
        release(o);
    }
}

/* The small job's photos and one more. */
static outcome *check_with(const char *folder, const char *more) {
    outcome *o = calloc(1, sizeof *o);
    char path[TEMP_SIZE];
    char paths[SMALL_PHOTOS + 1][TEMP_SIZE];
    char *files[SMALL_PHOTOS + 1];
    assert_non_null(o);
    for (int i = 0; i <= SMALL_PHOTOS; i++) {
        char file[64];
        snprintf(file, sizeof file, "%d.jpg", i + 1);
        temp_path(paths[i], folder, i < SMALL_PHOTOS ? file : more);
        files[i] = paths[i];
    }
    if (!tr_job_read(temp_path(path, folder, "job.yaml"), &o->job, &o->err)) fail();
    assert_true(tr_check_photos(&o->job, files, SMALL_PHOTOS + 1, &(tr_workers){.n_threads = 2},
                                &o->check, &o->err));
    evaluate(o);
    assert_true(o->is_measured);
    return o;
}

/* A photo that was saved again, telling something else, is no further photo: u95 stays as it is.
   Which of the two counts goes by their names. */
static void a_photo_saved_again_counts_once(void **state) {
    static const char *const AGAIN[] = {"3edited.jpg", "0-edited.jpg"};
    outcome *plain = check_photos(*state, "", NULL);
    for (int k = 0; k < 2; k++) {
        exif_copy(*state, "3.jpg", AGAIN[k], &PHONE);
        outcome *o = check_with(*state, AGAIN[k]);
        const tr_photo *edited = &o->check.set.photos[SMALL_PHOTOS];
        const tr_photo *original = &o->check.set.photos[2];
        const tr_photo *unused = k == 0 ? edited : original;
        const tr_photo *used = k == 0 ? original : edited;
        assert_string_not_equal(edited->sha256, original->sha256);
        assert_true(used->is_used);
        assert_false(unused->is_used);
        assert_int_equal(unused->why_not.n, 1);
        assert_int_equal(unused->why_not.items[0].kind, TR_FOUND_SAME_PHOTO);
        assert_string_equal(unused->why_not.items[0].arguments[0].text, used->name);
        assert_non_null(warning_of(o, "photo_not_used"));
        for (int axis = 0; axis < TR_N_AXES; axis++) {
            double u95 = plain->check.result.targets[0].axis[axis].u95;
            CHECK_NEAR(o->check.result.targets[0].axis[axis].u95, u95, 1e-4 * u95);
        }
        release(o);
    }
    release(plain);
}

/* From the same place, but with noise of its own. */
static void another_photo_from_the_same_place_counts(void **state) {
    const char *seed = strstr(SMALL_SCENE, "seed: 7");
    char scene[sizeof SMALL_SCENE];
    char folder[TEMP_SIZE];
    char path[TEMP_SIZE];
    uint8_t *jpeg;
    size_t size;
    assert_non_null(seed);
    memcpy(scene, SMALL_SCENE, sizeof scene);
    scene[seed - SMALL_SCENE + 6] = '8';
    temp_make(folder);
    small_job_make(folder);
    small_text(folder, "scene.yaml", scene);
    small_render(folder, "scene.yaml");
    assert_true(tr_file_read(temp_path(path, folder, "3.jpg"), 1 << 26, &jpeg, &size, NULL));
    temp_write(temp_path(path, *state, "3-next.jpg"), jpeg, size);
    free(jpeg);
    temp_remove(folder);
    outcome *o = check_with(*state, "3-next.jpg");
    for (int i = 0; i <= SMALL_PHOTOS; i++) assert_true(o->check.set.photos[i].is_used);
    assert_int_equal(o->check.result.findings.n, 0);
    release(o);
}

static void a_photo_of_another_lens_is_refused_and_blocks(void **state) {
    static const struct {
        exif_fields other;
        const char *words;
    } CASES[] = {
        {{.make = "Example", .model = "Phone 4", .focal_length_mm = {543, 100}},
         "it was taken with Example Phone 4, but the lens profile's photos with Example Phone 3;"},
        {{.make = "Example", .model = "Phone 3", .focal_length_mm = {9, 1}},
         "it was taken at a focal length of 9 mm, but the lens profile's photos at a focal length "
         "of 5.43 mm;"},
        {{.model = "Example Phone 3", .digital_zoom = {2, 1}},
         "it was taken at digital zoom 2, but the lens profile's photos at digital zoom 1;"},
        {{.equivalent_mm = 52},
         "it was taken at a focal length equivalent to 52 mm, but the lens profile's photos at a "
         "focal length equivalent to 26 mm;"},
    };
    const tr_camera camera = phone_camera();
    for (size_t c = 0; c < sizeof CASES / sizeof *CASES; c++) {
        for (int i = 0; i < SMALL_PHOTOS; i++)
            tell(*state, "other-", i, i == 2 ? &CASES[c].other : &PHONE);
        outcome *o = check_photos(*state, "other-", &camera);
        const tr_photo *p = &o->check.set.photos[2];
        assert_false(p->is_readable);
        assert_false(p->is_used);
        assert_int_equal(p->marks.n_marks, 0);
        assert_int_equal(p->quality.grade, TR_PHOTO_UNUSABLE);
        check_has(reason_text(&p->why_not), CASES[c].words);
        const tr_finding *w = warning_of(o, "photo_other_lens");
        assert_non_null(w);
        assert_true(tr_finding_blocks_pass(w->kind));
        check_has(finding_text(w), "other-3.jpg is not used: it was taken ");
        check_has(finding_text(w), CASES[c].words);
        assert_true(o->check.set.photos[0].is_readable);
        assert_true(!o->is_measured || o->check.result.verdict == TR_INCONCLUSIVE);
        release(o);
    }
}

/* The profile tells no camera, but the photos tell two: a phone that changed it by itself. */
static void a_phone_that_changes_its_camera_is_told(void **state) {
    exif_fields wide = PHONE;
    wide.focal_length_mm[0] = 222;
    wide.equivalent_mm = 13;
    for (int i = 0; i < SMALL_PHOTOS; i++) tell(*state, "change-", i, i < 2 ? &PHONE : &wide);
    outcome *o = check_photos(*state, "change-", NULL);
    const tr_finding *w = warning_of(o, "photos_of_two_cameras");
    assert_non_null(w);
    assert_true(tr_finding_blocks_pass(w->kind));
    check_has(finding_text(w),
              "Photo change-1.jpg was taken at a focal length of 5.43 mm, but change-3.jpg "
              "and change-4.jpg at a focal length of 2.22 mm: lens profile 'small' can be right "
              "for only one of them.");
    assert_int_equal(o->check.result.verdict, TR_INCONCLUSIVE);
    release(o);
    /* All but the lens's name alike. */
    wide = PHONE;
    wide.lens = "back ultra wide camera";
    exif_fields main_camera = PHONE;
    main_camera.lens = "back camera";
    for (int i = 0; i < SMALL_PHOTOS; i++) tell(*state, "change-", i, i ? &main_camera : &wide);
    o = check_photos(*state, "change-", NULL);
    w = warning_of(o, "photos_of_two_cameras");
    assert_non_null(w);
    check_has(finding_text(w), "with lens back ultra wide camera, but change-2.jpg, change-3.jpg "
                               "and change-4.jpg with lens back camera");
    release(o);
}

/* The job without its profile. */
static outcome *check_unknown(const char *folder, const char *name) {
    char command[2 * TEMP_SIZE];
    assert_true(snprintf(command, sizeof command,
                         "cd '%s' && sed 's/^lens: .*/lens: unknown/' job.yaml > unknown.yaml",
                         folder) < (int)sizeof command);
    assert_int_equal(system(command), 0);
    return check_job(folder, "unknown.yaml", name, NULL);
}

/* With what EXIF tells of the focal length, without, and where it tells nonsense: the marks tell
 * it.
 */
static void an_unknown_lens_is_found(void **state) {
    exif_fields none = PHONE;
    exif_fields wrong = PHONE;
    none.equivalent_mm = 0;
    wrong.equivalent_mm = 50;
    const exif_fields *const told[] = {&PHONE, &none, &wrong};
    outcome *plain = check_photos(*state, "", NULL);
    for (int k = 0; k < 3; k++) {
        for (int i = 0; i < SMALL_PHOTOS; i++) tell(*state, "unknown-", i, told[k]);
        outcome *o = check_unknown(*state, "unknown-");
        if (!o->is_measured) fail_msg("%s", o->err.text);
        assert_non_null(warning_of(o, "lens_unknown"));
        assert_false(tr_findings_block_pass(&o->check.result.findings));
        CHECK_NEAR(o->check.lenses[0].param[TR_FX], 330, 330 * 1.5 * o->check.result.focal_u95);
        for (int axis = TR_X; axis <= TR_YAW; axis++) {
            const tr_axis_result *a = &o->check.result.targets[0].axis[axis];
            const tr_axis_result *known = &plain->check.result.targets[0].axis[axis];
            if (!a->is_required) continue;
            CHECK_NEAR(a->measured, known->measured, a->u95);
            CHECK_AT_MOST(known->u95, 1.001 * a->u95);
        }
        release(o);
    }
    release(plain);
}

/* One lens for all: photos of a second are told, by name, and stand against a pass. */
static void an_unknown_lens_is_one(void **state) {
    exif_fields wide = PHONE;
    wide.focal_length_mm[0] = 222;
    wide.equivalent_mm = 13;
    for (int i = 0; i < SMALL_PHOTOS; i++) tell(*state, "two-", i, i < 3 ? &PHONE : &wide);
    outcome *o = check_unknown(*state, "two-");
    const tr_finding *w = warning_of(o, "photos_of_two_cameras");
    assert_non_null(w);
    assert_true(tr_finding_blocks_pass(w->kind));
    check_has(finding_text(w),
              "two-4.jpg at a focal length of 2.22 mm: photos of an unknown lens must all "
              "be from one camera.");
    release(o);
}

/* Pictures of other sizes, as what they look like. */
static void pictures_are_told_as_what_they_are(void **state) {
    static const exif_fields SILENT = {.orientation = 1};
    static const exif_fields CUT = {.model = "Example Phone 3", .width_px = 504, .height_px = 378};
    static const exif_fields LARGE = {
        .model = "Example Phone 3", .width_px = 4032, .height_px = 3024};
    static const struct {
        int width, height;
        bool is_png;
        const exif_fields *exif;
        const char *words;
    } CASES[] = {
        {300, 100, false, &PHONE, "it looks like a panorama or a stitched picture; take single"},
        {108, 234, true, NULL, "it looks like a screenshot; use the photo itself"},
        {160, 120, false, &SILENT, "it looks like a messenger's small copy; use the camera's own"},
        {300, 300, false, &CUT, "not made smaller or cut"},
        {300, 300, false, &LARGE, "it was cut after it was taken; use the photo as"},
        {300, 225, false, &LARGE, "it was made smaller after it was taken; use the photo as"},
    };
    for (size_t c = 0; c < sizeof CASES / sizeof *CASES; c++) {
        char path[TEMP_SIZE];
        tr_image image;
        assert_true(tr_image_init(&image, CASES[c].width, CASES[c].height, NULL));
        for (int i = 0; i < SMALL_PHOTOS; i++) tell(*state, "kind-", i, &PHONE);
        assert_true(
            CASES[c].is_png
                ? tr_image_write_png(&image, temp_path(path, *state, "kind-1.jpg"), NULL)
                : tr_image_write_jpeg(&image, 90, temp_path(path, *state, "odd.jpg"), NULL));
        if (!CASES[c].is_png) exif_copy(*state, "odd.jpg", "kind-1.jpg", CASES[c].exif);
        tr_image_release(&image);
        outcome *o = check_photos(*state, "kind-", NULL);
        const tr_finding *w = warning_of(o, "photo_size");
        assert_non_null(w);
        check_has(finding_text(w), "Photo kind-1.jpg is not used: it has ");
        check_has(finding_text(w), CASES[c].words);
        release(o);
    }
}

static void all_photos_of_another_lens_give_no_measurement(void **state) {
    tr_camera camera = phone_camera();
    camera.digital_zoom = 2;
    for (int i = 0; i < SMALL_PHOTOS; i++) tell(*state, "all-", i, &PHONE);
    outcome *o = check_photos(*state, "all-", &camera);
    assert_false(o->is_measured);
    assert_int_equal(o->err.code, TR_NO_PHOTO);
    assert_true(tr_check_finish(&o->check, &o->err, NULL));
    tr_check_name_reason(&o->check.result);
    check_has(o->check.result.why.text, "none of the photos can be used; all-1.jpg: it was taken");
    check_has(o->check.result.why.text, "at digital zoom 1");
    release(o);
}

/* EXIF still has the size that the camera gave it. */
static void a_photo_made_smaller_is_told_so(void **state) {
    exif_fields f = PHONE;
    f.width_px = 504;
    f.height_px = 378;
    char path[TEMP_SIZE];
    uint8_t *data;
    size_t size;
    tr_image image, half;
    assert_true(tr_file_read(temp_path(path, *state, "1.jpg"), 1 << 24, &data, &size, NULL));
    assert_true(tr_image_decode(data, size, path, &image, NULL));
    assert_true(tr_image_shrink(&image, 2, &half, NULL));
    assert_true(tr_image_write_jpeg(&half, 90, temp_path(path, *state, "half.jpg"), NULL));
    free(data);
    tr_image_release(&image);
    tr_image_release(&half);
    for (int i = 1; i < SMALL_PHOTOS; i++) tell(*state, "size-", i, &f);
    exif_copy(*state, "half.jpg", "size-1.jpg", &f);
    outcome *o = check_photos(*state, "size-", NULL);
    check_has(reason_text(&o->check.set.photos[0].why_not), "252 x 189 pixels");
    check_has(reason_text(&o->check.set.photos[0].why_not), "not made smaller or cut");
    assert_non_null(warning_of(o, "photo_size"));
    release(o);
}

static void photos_far_apart_are_asked_about(void **state) {
    static const struct {
        const char *first, *last;
        bool is_far;
    } CASES[] = {
        {"2026:03:02 10:15:07", "2026:03:02 11:15:07", false},
        {"2026:03:02 10:15:07", "2026:03:02 11:15:08", true},
        {"2026:03:01 23:50:00", "2026:03:02 00:20:00", false},
        {"2026:03:01 10:15:07", "2026:03:02 10:15:07", true},
        {"2026:03:01 10:15:07", NULL, false},
    };
    for (size_t c = 0; c < sizeof CASES / sizeof *CASES; c++) {
        /* Named in their order in time, not in that of the files. */
        for (int i = 0; i < SMALL_PHOTOS; i++) {
            exif_fields f = PHONE;
            f.taken = i == 2 ? CASES[c].first : i == 1 ? CASES[c].last : NULL;
            tell(*state, "apart-", i, &f);
        }
        outcome *o = check_photos(*state, "apart-", NULL);
        const tr_finding *w = warning_of(o, "photos_far_apart");
        assert_int_equal(w != NULL, CASES[c].is_far);
        assert_int_equal(o->check.result.findings.n, CASES[c].is_far);
        assert_int_equal(o->check.result.verdict, TR_PASS);
        if (w) {
            assert_false(tr_finding_blocks_pass(w->kind));
            check_has(finding_text(w), "were all photos taken of this setup?");
            assert_true(strstr(finding_text(w), "apart-3.jpg") <
                        strstr(finding_text(w), "apart-2.jpg"));
        }
        release(o);
    }
}

/* ---- quality ---- */

static void rendered_photos_are_good(void **state) {
    outcome *o = check_photos(*state, "", NULL);
    for (int i = 0; i < SMALL_PHOTOS; i++) {
        const tr_photo_quality *q = &o->check.set.photos[i].quality;
        assert_int_equal(q->grade, TR_PHOTO_GOOD);
        assert_int_equal(q->flaw, TR_FLAW_NONE);
        CHECK_NEAR(q->sharpness_px, 0.75, 0.25); /* blur of 0.6 and the pixel's own */
        assert_true(q->contrast > 80 && q->cell_px > 3 && q->tag_px > 8 * q->cell_px);
    }
    /* The first camera of small.h, and the mat, of which it sees most. */
    CHECK_NEAR(o->check.set.photos[0].quality.elevation_rad,
               atan2(1900, hypot(-3300 + 1496, 300 - 3)), 0.01);
    release(o);
}

/* Photos NAME1.jpg .. of the small scene with something else in it. */
static void render_changed(const char *folder, const char *name, const char *from, const char *to) {
    char scene[sizeof SMALL_SCENE + 256];
    char file[64];
    size_t n = 0;
    for (const char *at = SMALL_SCENE; *at;) {
        if (strncmp(at, "photo: ", 7) == 0) {
            n += (size_t)snprintf(scene + n, sizeof scene - n, "photo: %s", name);
            at += 7;
        } else if (strncmp(at, from, strlen(from)) == 0) {
            n += (size_t)snprintf(scene + n, sizeof scene - n, "%s", to);
            at += strlen(from);
        } else {
            scene[n++] = *at++;
        }
        assert_true(n < sizeof scene - 64);
    }
    scene[n] = 0;
    snprintf(file, sizeof file, "%s.scene.yaml", name);
    small_text(folder, file, scene);
    small_render(folder, file);
}

static void weak_photos_are_told_with_the_reason(void **state) {
    static const struct {
        const char *name, *from, *to;
        tr_photo_flaw flaw;
    } CASES[] = {
        {"blur-", "blur_px: 0.6", "blur_px: 3.0", TR_FLAW_BLURRED},
        {"dark-", "exposure: 1.1", "exposure: 0.02", TR_FLAW_DIM},
        {"over-", "exposure: 1.1", "exposure: 4", TR_FLAW_OVEREXPOSED},
    };
    for (size_t c = 0; c < sizeof CASES / sizeof *CASES; c++) {
        int n_told = 0;
        render_changed(*state, CASES[c].name, CASES[c].from, CASES[c].to);
        outcome *o = check_photos(*state, CASES[c].name, NULL);
        for (int i = 0; i < SMALL_PHOTOS; i++) {
            const tr_photo_quality *q = &o->check.set.photos[i].quality;
            if (getenv("TRAMMEL_SHOW"))
                print_message("%s%d %s: %s, %.2f px, %.0f, %.2f, %.1f px\n", CASES[c].name, i + 1,
                              tr_photo_grade_name(q->grade), tr_photo_flaw_text(q->flaw),
                              q->sharpness_px, q->contrast, q->overexposed_part, q->cell_px);
            assert_int_not_equal(q->grade, TR_PHOTO_GOOD);
            n_told += q->grade == TR_PHOTO_WEAK && q->flaw == CASES[c].flaw;
        }
        assert_true(n_told > 0);
        release(o);
    }
}

/* ---- two cameras in one job ---- */

static const exif_fields OTHER_PHONE = {
    .make = "Example", .model = "Phone 4", .focal_length_mm = {222, 100}, .orientation = 6};

/* SMALL_JOB with other lenses and photos. */
static void write_job(const char *folder, const char *job, const char *lens, const char *photos) {
    char text[sizeof SMALL_JOB + 512];
    const char *head_end = strstr(SMALL_JOB, "lens: lens.yaml");
    const char *rest = head_end + strlen("lens: lens.yaml");
    const char *rest_end = strstr(rest, "photos:");
    snprintf(text, sizeof text, "%.*slens: %s%.*sphotos: %s\n", (int)(head_end - SMALL_JOB),
             SMALL_JOB, lens, (int)(rest_end - rest), rest, photos);
    small_text(folder, job, text);
}

/* SMALL_LENS under another name, with another focal length and what is told of its camera. */
static void write_lens(const char *folder, const char *name, double focal_px, const char *more) {
    char file[64];
    char text[sizeof SMALL_LENS + 256];
    const char *rest = strstr(SMALL_LENS, "cx_px:");
    snprintf(file, sizeof file, "%s.yaml", name);
    snprintf(
        text, sizeof text,
        "lens: %s\nmodel: brown5\nimage_px: [504, 378]\nsteady: true\nfx_px: %g\nfy_px: %g\n%s%s",
        name, focal_px, focal_px + 0.4, more, rest);
    small_text(folder, file, text);
}

/* Photos duo-1 and duo-2 of the one camera, duo-3 and duo-4 of a wider one. */
static void make_duo(const char *folder, const exif_fields *narrow, const exif_fields *wide) {
    write_lens(folder, "wide", 260, "camera: Example Phone 4\nfocal_length_mm: 2.22\n");
    write_lens(folder, "narrow", 330, "camera: Example Phone 3\nfocal_length_mm: 5.43\n");
    render_changed(folder, "wide-", "lens: lens.yaml", "lens: wide.yaml");
    for (int i = 0; i < SMALL_PHOTOS; i++) {
        char from[64], to[64];
        snprintf(from, sizeof from, "%s%d.jpg", i < 2 ? "" : "wide-", i + 1);
        snprintf(to, sizeof to, "duo-%d.jpg", i + 1);
        exif_copy(folder, from, to, i < 2 ? narrow : wide);
    }
}

static void check_duo(const outcome *o) {
    if (!o->is_measured) fail_msg("%s", o->err.text);
    for (int i = 0; i < o->check.result.findings.n; i++)
        print_error("%s\n", finding_text(&o->check.result.findings.items[i]));
    assert_int_equal(o->check.result.findings.n, 0);
    assert_int_equal(o->check.result.verdict, TR_PASS);
    for (int i = 0; i < SMALL_PHOTOS; i++) {
        const tr_photo *p = &o->check.set.photos[i];
        assert_true(p->is_used);
        assert_string_equal(o->job.lenses[p->lens].id, i < 2 ? "narrow" : "wide");
        assert_true(p->rms_px < 0.2);
    }
    /* As scene SMALL has the mat. */
    CHECK_NEAR(o->check.result.targets[0].axis[TR_X].measured, -1496, 3);
    CHECK_NEAR(o->check.result.targets[0].axis[TR_Y].measured, 3, 3);
    json_t *json = tr_check_json(&o->check.result);
    json_t *photos = json_object_get(json, "photos");
    for (size_t i = 0; i < SMALL_PHOTOS; i++) {
        assert_string_equal(json_string_value(json_object_get(json_array_get(photos, i), "lens")),
                            i < 2 ? "narrow" : "wide");
    }
    json_decref(json);
}

static void two_phones_share_a_job_by_exif(void **state) {
    make_duo(*state, &PHONE, &OTHER_PHONE);
    write_job(*state, "duo.yaml", "[narrow.yaml, wide.yaml]", "[]");
    outcome *o = check_job(*state, "duo.yaml", "duo-", NULL);
    check_duo(o);
    release(o);
    /* A profile that names no camera fits every photo, but one that names it goes before. */
    write_lens(*state, "wide", 260, "");
    for (int i = 0; i < 2; i++) {
        write_job(*state, "duo.yaml", i ? "[narrow.yaml, wide.yaml]" : "[wide.yaml, narrow.yaml]",
                  "[]");
        o = check_job(*state, "duo.yaml", "duo-", NULL);
        check_duo(o);
        release(o);
    }
    /* With one profile no photo has a key `lens`. */
    o = check_photos(*state, "", NULL);
    json_t *json = tr_check_json(&o->check.result);
    assert_null(json_object_get(json_array_get(json_object_get(json, "photos"), 0), "lens"));
    json_decref(json);
    release(o);
}

static void photos_name_their_lens(void **state) {
    static const exif_fields SILENT = {.orientation = 1};
    make_duo(*state, &SILENT, &SILENT);
    write_job(*state, "named.yaml", "[narrow.yaml, wide.yaml]",
              "[{ file: duo-1.jpg, lens: narrow.yaml }, { file: duo-2.jpg, lens: narrow.yaml },"
              " { file: duo-3.jpg, lens: wide.yaml }, { file: duo-4.jpg, lens: wide.yaml }]");
    outcome *o = check_job(*state, "named.yaml", "duo-", NULL);
    check_duo(o);
    release(o);
    /* A lens that only photos name serves no other. */
    write_job(*state, "named.yaml", "narrow.yaml",
              "[duo-1.jpg, { file: duo-3.jpg, lens: wide.yaml },"
              " { file: duo-4.jpg, lens: wide.yaml }]");
    o = check_job(*state, "named.yaml", "duo-", NULL);
    check_duo(o);
    release(o);
}

static void a_photo_that_fits_two_lenses_or_none_is_told(void **state) {
    static const exif_fields SILENT = {.orientation = 1};
    static const exif_fields STRANGER = {.make = "Example", .model = "Phone 5"};
    make_duo(*state, &PHONE, &SILENT);
    write_job(*state, "duo.yaml", "[narrow.yaml, wide.yaml]", "[]");
    tell(*state, "duo-", 0, &STRANGER);
    outcome *o = check_job(*state, "duo.yaml", "duo-", NULL);
    const tr_finding *none = warning_of(o, "photo_other_lens");
    const tr_finding *unclear = warning_of(o, "photo_lens_unclear");
    assert_true(none && unclear);
    assert_true(tr_finding_blocks_pass(none->kind));
    check_has(finding_text(none),
              "Photo duo-1.jpg is not used: none of the job's lens profiles fits it "
              "(504 x 378 pixels, taken with Example Phone 5); add the profile of its "
              "camera");
    check_has(finding_text(unclear),
              "Photo duo-3.jpg is not used: it fits lens profile 'narrow' as well as "
              "'wide'; say in the job which it is, under 'photos': { file: "
              "duo-3.jpg, lens: ... }");
    assert_int_equal(o->check.set.photos[2].fit, TR_PHOTO_LENS_UNCLEAR);
    assert_true(o->check.set.photos[1].is_readable);
    assert_false(o->check.set.photos[0].is_readable || o->check.set.photos[2].is_readable);
    release(o);
}

/* Each lens is a hypothesis of its own, and the wrong one is named, with its photos. */
static void the_wrong_one_of_two_lenses_is_named(void **state) {
    make_duo(*state, &PHONE, &OTHER_PHONE);
    write_lens(*state, "wide", 266, "camera: Example Phone 4\n");
    write_job(*state, "duo.yaml", "[narrow.yaml, wide.yaml]", "[]");
    outcome *o = check_job(*state, "duo.yaml", "duo-", NULL);
    const tr_finding *w = warning_of(o, "lens_mismatch");
    for (int i = 0; !w && i < o->check.result.findings.n; i++)
        print_error("%s\n", finding_text(&o->check.result.findings.items[i]));
    assert_non_null(w);
    assert_true(tr_finding_blocks_pass(w->kind));
    check_has(finding_text(w),
              "duo-3.jpg and duo-4.jpg were not taken with the lens of profile 'wide': they "
              "fit a focal length of ");
    int found_px = 0;
    assert_int_equal(
        sscanf(strstr(finding_text(w), "focal length of "), "focal length of %d", &found_px), 1);
    CHECK_NEAR(found_px, 260, 3);
    check_has(finding_text(w), "the profile says 266 px");
    release(o);
}

/* ---- a calibration ---- */

static bool solve_boards(const char *folder, const char *name, tr_lens_run *run, tr_error *err) {
    static const tr_board BOARD = {7, 5, 60};
    char paths[SMALL_BOARDS][TEMP_SIZE];
    char *files[SMALL_BOARDS];
    for (int i = 0; i < SMALL_BOARDS; i++) {
        char file[64];
        snprintf(file, sizeof file, "%.40s%d.jpg", name, i + 1);
        temp_path(paths[i], folder, file);
        files[i] = paths[i];
    }
    assert_true(
        tr_lens_photos(&BOARD, files, SMALL_BOARDS, &(tr_workers){.n_threads = 2}, run, err));
    return tr_lens_solve(run, err);
}

static void tell_boards(const char *folder, const char *name, int other, const exif_fields *f) {
    for (int i = 0; i < SMALL_BOARDS; i++) {
        char from[64], to[64];
        snprintf(from, sizeof from, "b%d.jpg", i + 1);
        snprintf(to, sizeof to, "%.40s%d.jpg", name, i + 1);
        exif_copy(folder, from, to, i == other ? f : &PHONE);
    }
}

/* From the photos through the profile's file to the photos of a check. */
static void a_profile_keeps_the_camera_of_its_photos(void **state) {
    static const exif_fields SILENT = {.orientation = 6};
    char path[TEMP_SIZE];
    tr_lens_run run;
    tr_lens lens;
    tr_error err = {0};
    tell_boards(*state, "told-", 0, &SILENT);
    if (!solve_boards(*state, "told-", &run, &err)) fail_msg("%s", err.text);
    snprintf(run.calibration.lens.id, sizeof run.calibration.lens.id, "made");
    temp_path(path, *state, "made.yaml");
    if (!tr_lens_profile_write(path, &run.calibration.lens, &err) ||
        !tr_lens_profile_read(path, &lens, &err)) {
        fail_msg("%s", err.text);
    }
    assert_string_equal(lens.camera.name, "Example Phone 3");
    CHECK_NEAR(lens.camera.focal_length_mm, 5.43, 0);
    CHECK_NEAR(lens.camera.equivalent_focal_length_mm, 26, 0);
    CHECK_NEAR(lens.camera.digital_zoom, 0, 0);
    tr_lens_run_release(&run);
    /* Photos that tell nothing make a profile that tells nothing. */
    assert_true(solve_boards(*state, "b", &run, &err));
    assert_string_equal(run.calibration.lens.camera.name, "");
    tr_lens_run_release(&run);
}

static void photos_of_two_lenses_give_no_profile(void **state) {
    static const struct {
        exif_fields other;
        const char *words;
    } CASES[] = {
        {{.model = "Example Phone 4"},
         "'two-1.jpg' was taken with Example Phone 3, but 'two-4.jpg' with Example Phone 4; "},
        {{.focal_length_mm = {9, 1}},
         "'two-1.jpg' was taken at a focal length of 5.43 mm, but 'two-4.jpg' at a focal length of "
         "9 mm; "},
        {{.model = "Example Phone 3", .digital_zoom = {3, 2}},
         "'two-1.jpg' was taken at digital zoom 1, but 'two-4.jpg' at digital zoom 1.5; "},
    };
    for (size_t c = 0; c < sizeof CASES / sizeof *CASES; c++) {
        tr_lens_run run;
        tr_error err = {0};
        tell_boards(*state, "two-", 3, &CASES[c].other);
        assert_false(solve_boards(*state, "two-", &run, &err));
        assert_int_equal(err.code, TR_NO_MEASURE);
        check_has(err.text, CASES[c].words);
        check_has(err.text, "use only photos taken the same way");
        tr_lens_run_release(&run);
    }
}

static int set_up(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    small_job_make(folder);
    small_boards_make(folder);
    *state = folder;
    return 0;
}

static int tear_down(void **state) {
    temp_remove(*state);
    free(*state);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(orientation_changes_no_number),
        cmocka_unit_test(images_in_memory_measure_the_same),
        cmocka_unit_test(photos_of_the_same_lens_pass),
        cmocka_unit_test(a_photo_saved_again_counts_once),
        cmocka_unit_test(another_photo_from_the_same_place_counts),
        cmocka_unit_test(a_photo_of_another_lens_is_refused_and_blocks),
        cmocka_unit_test(a_phone_that_changes_its_camera_is_told),
        cmocka_unit_test(an_unknown_lens_is_found),
        cmocka_unit_test(an_unknown_lens_is_one),
        cmocka_unit_test(pictures_are_told_as_what_they_are),
        cmocka_unit_test(all_photos_of_another_lens_give_no_measurement),
        cmocka_unit_test(a_photo_made_smaller_is_told_so),
        cmocka_unit_test(photos_far_apart_are_asked_about),
        cmocka_unit_test(rendered_photos_are_good),
        cmocka_unit_test(weak_photos_are_told_with_the_reason),
        cmocka_unit_test(two_phones_share_a_job_by_exif),
        cmocka_unit_test(photos_name_their_lens),
        cmocka_unit_test(a_photo_that_fits_two_lenses_or_none_is_told),
        cmocka_unit_test(the_wrong_one_of_two_lenses_is_named),
        cmocka_unit_test(a_profile_keeps_the_camera_of_its_photos),
        cmocka_unit_test(photos_of_two_lenses_give_no_profile),
    };
    return cmocka_run_group_tests_name("photos", tests, set_up, tear_down);
}
