/* What a measurement still lacks after quick looks, and where in a photo it could be seen. */
#include "check.h"

#include <string.h>

#include "photos/search.h"

enum { N_PHOTOS = 2, N_SHEETS = 2, WIDTH = 4000, HEIGHT = 3000 };

static const double FOCAL_PX = 3000;
/* A tag below this many pixels cannot be measured; one above 40 was not missed at half size. */
static const double LEAST_PX = 10;
/* What stands in one point of a photo for what is about it: a step, and half a step and a tag. */
static const double ROUGH_PX = 64 + (64 + 40) / 2;

/* Two photos and two sheets of one tag of 100 mm: PLATE is needed, OTHER is not. */
enum { PLATE, OTHER };
typedef struct {
    tr_photo photos[N_PHOTOS];
    tr_sheet_view views[N_PHOTOS][N_SHEETS];
    tr_tag tag;
    tr_sheet sheets[N_SHEETS];
    bool is_needed[N_SHEETS], is_missing[N_SHEETS];
    tr_photo_set set;
    tr_sheet_prediction items[N_PHOTOS * N_SHEETS];
    int first[N_PHOTOS + 1];
    tr_lens lenses[N_PHOTOS];
    tr_pose camera_from_floor[N_PHOTOS];
    tr_predictions predictions;
} scene;

static void set_up(scene *s) {
    memset(s, 0, sizeof *s);
    s->tag.size_mm = 100;
    for (int i = 0; i < N_SHEETS; i++) {
        s->sheets[i] = (tr_sheet){.width_mm = 160, .height_mm = 120, .tags = &s->tag, .n_tags = 1};
    }
    s->is_needed[PLATE] = true;
    for (int i = 0; i < N_PHOTOS; i++) {
        s->photos[i] = (tr_photo){.is_readable = true, .width_px = WIDTH, .height_px = HEIGHT};
        s->photos[i].marks.views = s->views[i];
        s->photos[i].marks.searched_factor = 4;
        s->lenses[i] = (tr_lens){.width_px = WIDTH,
                                 .height_px = HEIGHT,
                                 .param = {FOCAL_PX, FOCAL_PX, WIDTH / 2.0, HEIGHT / 2.0}};
    }
    s->set = (tr_photo_set){.photos = s->photos, .n_photos = N_PHOTOS};
    s->set.request =
        (tr_photo_request){.sheets = s->sheets, .n_sheets = N_SHEETS, .is_needed = s->is_needed};
    s->predictions = (tr_predictions){.items = s->items,
                                      .first = s->first,
                                      .lenses = s->lenses,
                                      .camera_from_floor = s->camera_from_floor};
}

static void show(scene *s, int photo, int sheet) {
    tr_photo_marks *m = &s->photos[photo].marks;
    m->views[m->n_views++] = (tr_sheet_view){.sheet = sheet};
}

/* The photo has a place, at that height over the floor; tilt: 0 looks straight down, 90 level. The
   other photos tell where OTHER lies, somewhere far off. */
static void place(scene *s, int photo, double height_mm, double tilt_deg) {
    tr_pose *p = &s->camera_from_floor[photo];
    double a = TR_PI - tilt_deg * TR_RAD_PER_DEG;
    p->R = tr_rotation_from_vector(tr_v3(a, 0, 0));
    p->t_mm = tr_v3_scale(-1, tr_m3_apply(p->R, tr_v3(0, 0, height_mm)));
    s->items[0] = (tr_sheet_prediction){.sheet = OTHER, .camera_from_sheet = *p};
    for (int i = photo + 1; i <= N_PHOTOS; i++) s->first[i] = 1;
}

static bool is_due(scene *s) {
    memset(s->is_missing, 0x55, sizeof s->is_missing);
    return tr_search_is_due(&s->set, &s->predictions, s->is_missing);
}

static void a_needed_sheet_is_missing_below_two_photos(void **state) {
    (void)state;
    scene s;
    set_up(&s);
    for (int n = 0; n <= N_PHOTOS; n++) {
        assert_int_equal(is_due(&s), n < 2);
        assert_int_equal(s.is_missing[PLATE], n < 2);
        assert_false(s.is_missing[OTHER]);
        if (n == N_PHOTOS) break;
        show(&s, n, PLATE);
        s.first[N_PHOTOS] = n + 1; /* each with a place */
        s.first[n + 1] = n + 1;
    }
    set_up(&s);
    s.sheets[PLATE].n_tags = 0; /* nothing of it could be found */
    assert_false(is_due(&s));
    set_up(&s);
    s.set.request.is_needed = NULL;
    assert_false(is_due(&s));
    assert_false(s.is_missing[PLATE]);
}

static void a_photo_without_a_place_is_lost(void **state) {
    (void)state;
    scene s;
    set_up(&s);
    s.is_needed[PLATE] = false;
    assert_false(is_due(&s)); /* it shows nothing */
    show(&s, 1, OTHER);
    assert_true(is_due(&s));
    s.photos[1].is_readable = false;
    assert_false(is_due(&s));
    s.photos[1].is_readable = true;
    place(&s, 1, 1500, 30);
    assert_false(is_due(&s));
}

static bool could_show(scene *s, int factor, tr_window *part) {
    (void)is_due(s);
    return tr_search_could_show(&s->set, &s->predictions, s->is_missing, 0, factor, part);
}

static void a_photo_without_a_place_could_show_it_anywhere(void **state) {
    (void)state;
    scene s;
    tr_window part;
    set_up(&s);
    assert_true(could_show(&s, 2, &part));
    assert_true(part.u0 == 0 && part.v0 == 0 && part.u1 == WIDTH && part.v1 == HEIGHT);
    assert_false(could_show(&s, 4, &part)); /* it was searched so */
    assert_false(could_show(&s, 0, &part));
    s.photos[0].marks.is_mirrored = true;
    assert_false(could_show(&s, 2, &part));
    s.photos[0].marks.is_mirrored = false;
    s.photos[0].is_readable = false;
    assert_false(could_show(&s, 2, &part));
    set_up(&s);
    s.is_needed[PLATE] = false; /* nothing is missing, ... */
    assert_false(could_show(&s, 2, &part));
    show(&s, 0, OTHER); /* ... but the photo's place */
    assert_true(could_show(&s, 2, &part));
}

static void check_part(tr_window part, double u0, double v0, double u1, double v1) {
    CHECK_NEAR(part.u0, fmax(0, u0), ROUGH_PX);
    CHECK_NEAR(part.v0, fmax(0, v0), ROUGH_PX);
    CHECK_NEAR(part.u1, fmin(WIDTH, u1), ROUGH_PX);
    CHECK_NEAR(part.v1, fmin(HEIGHT, v1), ROUGH_PX);
}

/* From straight above, a line of sight at angle a off the axis meets the floor at 90 degrees - a: a
   tag is cos(a) FOCAL_PX 100 mm / height high there. */
static void a_tag_could_lie_where_it_is_large_enough(void **state) {
    (void)state;
    scene s;
    tr_window part;
    set_up(&s);
    place(&s, 0, 31000, 0);
    assert_false(could_show(&s, 2, &part)); /* 9.7 px in the middle */
    place(&s, 0, 29000, 0);
    assert_true(could_show(&s, 2, &part));
    double radius = FOCAL_PX * tan(acos(LEAST_PX / (FOCAL_PX * 100 / 29000)));
    check_part(part, WIDTH / 2.0 - radius, HEIGHT / 2.0 - radius, WIDTH / 2.0 + radius,
               HEIGHT / 2.0 + radius);
    show(&s, 0, PLATE);
    assert_false(could_show(&s, 2, &part)); /* it is seen here */
}

/* In the photo's corners a tag is 0.77 as high as in its middle. Where it is above 40 px even
   there, a search at half size would have found it. */
static void what_is_large_was_not_missed(void **state) {
    (void)state;
    scene s;
    tr_window part;
    set_up(&s);
    place(&s, 0, 5500, 0); /* 54.5 and 42 px */
    assert_true(could_show(&s, 2, &part));
    assert_false(could_show(&s, 1, &part));
    place(&s, 0, 6000, 0); /* 50 and 38.5 px */
    assert_true(could_show(&s, 1, &part));
}

/* A level camera 1.5 m over the floor sees it below the horizon; at a distance d, a tag is
   FOCAL_PX 100 mm / d high, times 1500 / d as it lies. */
static void nothing_lies_above_the_horizon(void **state) {
    (void)state;
    scene s;
    tr_window part;
    set_up(&s);
    place(&s, 0, 1500, 90);
    assert_true(could_show(&s, 2, &part));
    double furthest_mm = sqrt(FOCAL_PX * 100 * 1500 / LEAST_PX);
    check_part(part, 0, HEIGHT / 2.0 + FOCAL_PX * 1500 / furthest_mm, WIDTH, HEIGHT);
}

/* One that another photo shows was moved by 1.5 m at most. */
static void a_sheet_with_a_place_lies_near_it(void **state) {
    (void)state;
    scene s;
    tr_window part;
    set_up(&s);
    place(&s, 0, 10000, 0);
    s.items[0] = (tr_sheet_prediction){
        .sheet = PLATE, .camera_from_sheet = {tr_m3_identity(), tr_v3(2000, 1000, 10000)}};
    assert_true(could_show(&s, 2, &part));
    double reach_px = (1500 + hypot(160, 120) / 2) * FOCAL_PX / 10000;
    double u = WIDTH / 2.0 + 2000 * FOCAL_PX / 10000;
    double v = HEIGHT / 2.0 + 1000 * FOCAL_PX / 10000;
    check_part(part, u - reach_px, v - reach_px, u + reach_px, v + reach_px);
    s.items[0].camera_from_sheet.t_mm.x = 9000; /* beyond the photo's edge, too far to be in it */
    assert_false(could_show(&s, 2, &part));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_needed_sheet_is_missing_below_two_photos),
        cmocka_unit_test(a_photo_without_a_place_is_lost),
        cmocka_unit_test(a_photo_without_a_place_could_show_it_anywhere),
        cmocka_unit_test(a_tag_could_lie_where_it_is_large_enough),
        cmocka_unit_test(what_is_large_was_not_missed),
        cmocka_unit_test(nothing_lies_above_the_horizon),
        cmocka_unit_test(a_sheet_with_a_place_lies_near_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
