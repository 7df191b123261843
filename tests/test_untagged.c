/* Sheets without tags, found by their artwork in rendered photos whose places are known: rightly
   where enough is seen, never a period off. */
#include "check.h"
#include "draw.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "photos/untagged.h"
#include "tools/render/render.h"

enum { MAX_MARKS = 60, MAX_PHOTOS = 4 };

typedef struct {
    tr_disc discs[MAX_MARKS];
    tr_vec2 corners_mm[MAX_MARKS];
    tr_scene_sheet sheet;
    tr_scene_camera cameras[MAX_PHOTOS];
    tr_solid solids[2];
    tr_scene scene;
    tr_image images[MAX_PHOTOS];
    tr_placed_photo photos[MAX_PHOTOS];
} hall;

/* A mat on concrete, at (2000, 300, 0), turned by 2 degrees; four photos from about. The caller
   puts marks on it. */
static void begin(hall *h) {
    static const double AT[MAX_PHOTOS][3] = {
        {400, -900, 1500}, {500, 1500, 1400}, {3300, -1200, 1600}, {3500, 1500, 1300}};
    memset(h, 0, sizeof *h);
    h->sheet = (tr_scene_sheet){.sheet = {.id = "MAT",
                                          .kind = TR_SHEET_MAT,
                                          .width_mm = 1400,
                                          .height_mm = 1000,
                                          .tag_family = "tag36h11",
                                          .discs = h->discs,
                                          .corners_mm = h->corners_mm},
                                .checker_mm = 40,
                                .vehicle_from_sheet = tr_sheet_pose(
                                    TR_SHEET_MAT, tr_v3(2000, 300, 0), 2 * TR_RAD_PER_DEG, 0, 0)};
    h->scene = (tr_scene){.lens = {.id = "hall",
                                   .width_px = 1200,
                                   .height_px = 900,
                                   .param = {950, 950, 601, 447, 0.05, -0.1, 2e-4, -3e-4, 0.02}},
                          .sheets = &h->sheet,
                          .n_sheets = 1,
                          .floor_reflectance = 0.3,
                          .floor_texture = 1,
                          .solids = h->solids,
                          .cameras = h->cameras,
                          .n_cameras = MAX_PHOTOS};
    for (int i = 0; i < MAX_PHOTOS; i++) {
        tr_scene_camera *c = &h->cameras[i];
        c->vehicle_from_camera =
            tr_camera_pose(tr_v3(AT[i][0], AT[i][1], AT[i][2]), tr_v3(2000, 300, 0), 0.05 * i);
        c->imaging = tr_imaging_plain();
        c->imaging.blur_px[0] = c->imaging.blur_px[1] = 0.8;
        c->imaging.tone = TR_TONE_SRGB;
        c->imaging.sharpen = 0.5;
        c->imaging.sharpen_radius_px = 1;
        c->imaging.noise_sd = 2;
        c->imaging.seed = (uint64_t)i + 1;
    }
}

/* columns x rows marks, evenly spaced, about the middle. */
static void add_grid(hall *h, bool is_disc, int columns, int rows, double pitch_mm) {
    tr_sheet *s = &h->sheet.sheet;
    for (int i = 0; i < columns * rows; i++) {
        tr_vec2 p = tr_v2((i % columns - (columns - 1) / 2.0) * pitch_mm,
                          ((int)(i / columns) - (rows - 1) / 2.0) * pitch_mm);
        if (is_disc)
            h->discs[s->n_discs++] = (tr_disc){.centre_mm = p, .diameter_mm = 80};
        else
            h->corners_mm[s->n_corners++] = p;
    }
}

static void take(hall *h) {
    tr_error err = {0};
    for (int i = 0; i < h->scene.n_cameras; i++) {
        assert_true(tr_scene_photo(&h->scene, i, &h->images[i], NULL, &err));
        h->photos[i] = (tr_placed_photo){&h->images[i], &h->scene.lens,
                                         tr_pose_inverse(h->cameras[i].vehicle_from_camera)};
    }
}

static void end(hall *h) {
    for (int i = 0; i < h->scene.n_cameras; i++) tr_image_release(&h->images[i]);
}

/* The rough place: off by so much along the sheet's x and y, and turned. */
static tr_untagged_place find(const hall *h, double x_mm, double y_mm, double turn_deg) {
    tr_pose off = {tr_rotation_z(turn_deg * TR_RAD_PER_DEG), tr_v3(x_mm, y_mm, 0)};
    tr_untagged_request r = {.sheet = &h->sheet.sheet,
                             .world_from_sheet = tr_pose_mul(h->sheet.vehicle_from_sheet, off),
                             .within_mm = 150,
                             .within_rad = 3 * TR_RAD_PER_DEG,
                             .photos = h->photos,
                             .n_photos = h->scene.n_cameras};
    tr_untagged_place place;
    tr_error err = {0};
    if (!tr_untagged_find(&r, &place, &err)) fail_msg("%s", err.text);
    tr_pose moved =
        tr_pose_mul(tr_pose_inverse(h->sheet.vehicle_from_sheet), place.world_from_sheet);
    print_message("off %+.0f %+.0f mm %+.0f deg: outcome %d, %d match, %d missing, rival %d, chi2 "
                  "%.2f; %+.2f %+.2f %+.2f mm from its place\n",
                  x_mm, y_mm, turn_deg, (int)place.outcome, place.n_matched, place.n_missing,
                  place.n_rival, place.chi2, moved.t_mm.x, moved.t_mm.y, moved.t_mm.z);
    return place;
}

static double error_mm(const hall *h, const tr_untagged_place *place) {
    return tr_v3_norm(tr_v3_sub(place->world_from_sheet.t_mm, h->sheet.vehicle_from_sheet.t_mm));
}

static void check_right(const hall *h, const tr_untagged_place *place) {
    assert_int_equal(place->outcome, TR_UNTAGGED_FOUND);
    CHECK_AT_MOST(error_mm(h, place), 0.5);
}

/* Refused, or right: never wrong. */
static void check_not_wrong(const hall *h, const tr_untagged_place *place) {
    if (place->outcome == TR_UNTAGGED_FOUND) CHECK_AT_MOST(error_mm(h, place), 0.5);
}

static void discs_seen_whole(void **state) {
    (void)state;
    hall h;
    begin(&h);
    add_grid(&h, true, 5, 3, 220);
    take(&h);
    static const double OFF[][3] = {{60, -80, 1}, {-140, 140, -2}};
    for (size_t k = 0; k < sizeof OFF / sizeof *OFF; k++) {
        tr_untagged_place place = find(&h, OFF[k][0], OFF[k][1], OFF[k][2]);
        check_right(&h, &place);
        assert_true(place.n_missing == 0);
    }
    end(&h);
}

/* The photos' own places are known to a millimetre and some hundredths of a degree. */
static void photos_a_little_off(void **state) {
    (void)state;
    tr_draw d = draw_seeded("photos a little off");
    hall h;
    begin(&h);
    add_grid(&h, true, 5, 3, 220);
    take(&h);
    for (int i = 0; i < MAX_PHOTOS; i++) {
        double turn[3];
        double step[3];
        for (int k = 0; k < 3; k++) {
            turn[k] = 2e-4 * draw_normal(&d);
            step[k] = 0.3 * draw_normal(&d);
        }
        tr_pose off = {tr_rotation_from_vector(tr_v3(turn[0], turn[1], turn[2])),
                       tr_v3(step[0], step[1], step[2])};
        h.photos[i].camera_from_world = tr_pose_mul(off, h.photos[i].camera_from_world);
    }
    tr_untagged_place place = find(&h, -100, 90, 1);
    assert_int_equal(place.outcome, TR_UNTAGGED_FOUND);
    CHECK_AT_MOST(error_mm(&h, &place), 2);
    end(&h);
}

static void corners_seen_whole(void **state) {
    (void)state;
    hall h;
    begin(&h);
    add_grid(&h, false, 6, 4, 200);
    take(&h);
    static const double OFF[][3] = {{90, 60, 1.5}, {-140, 130, -1}};
    for (size_t k = 0; k < sizeof OFF / sizeof *OFF; k++) {
        tr_untagged_place place = find(&h, OFF[k][0], OFF[k][1], OFF[k][2]);
        check_right(&h, &place);
    }
    end(&h);
}

/* The rough place is off by a whole period, or nearly so, which is more than the stated reach, or
   less. */
static void off_by_a_period(void **state) {
    (void)state;
    static const double PITCH[] = {220, 140};
    for (int k = 0; k < 2; k++) {
        hall h;
        begin(&h);
        add_grid(&h, true, 5, 3, PITCH[k]);
        take(&h);
        for (int way = k; way < 4; way += 3 - k) { /* two of four, either way */
            double off = way % 2 ? PITCH[k] : -PITCH[k];
            tr_untagged_place place = find(&h, way / 2 ? 0 : off, way / 2 ? off : 10, 0.5);
            if (PITCH[k] < 150)
                check_right(&h, &place);
            else
                assert_int_equal(place.outcome, TR_UNTAGGED_BEYOND);
        }
        end(&h);
    }
}

/* Photos that show the middle of a regular pattern alone. */
static void borders_out_of_view(void **state) {
    (void)state;
    for (int is_disc = 0; is_disc < 2; is_disc++) {
        hall h;
        begin(&h);
        h.scene.lens.param[TR_FX] = h.scene.lens.param[TR_FY] = 3400;
        add_grid(&h, is_disc, 9, 6, 150);
        take(&h);
        static const double OFF[][2] = {{80, -150}};
        for (size_t k = 0; k < sizeof OFF / sizeof *OFF; k++) {
            tr_untagged_place place = find(&h, OFF[k][0], OFF[k][1], 0);
            check_not_wrong(&h, &place);
            assert_int_equal(place.outcome, TR_UNTAGGED_AMBIGUOUS);
        }
        end(&h);
    }
}

/* Something lies over a whole row at the border, in all photos. */
static void a_border_is_covered(void **state) {
    (void)state;
    for (int is_dark = 0; is_dark < 2; is_dark++) {
        hall h;
        begin(&h);
        add_grid(&h, true, 5, 3, 220);
        /* The row that is nearest to the vehicle. */
        h.solids[0] = (tr_solid){.n_outline = 4,
                                 .outline_xz_mm = {{1700, 1}, {1860, 1}, {1860, 3}, {1700, 3}},
                                 .y_mm = {-400, 1000},
                                 .reflectance = is_dark ? 0.3 : 0.85};
        h.scene.n_solids = 1;
        take(&h);
        static const double OFF[][2] = {{0, 110}};
        for (size_t k = 0; k < sizeof OFF / sizeof *OFF; k++) {
            tr_untagged_place place = find(&h, OFF[k][0], OFF[k][1], 0);
            check_not_wrong(&h, &place);
            assert_true(place.outcome == TR_UNTAGGED_AMBIGUOUS ||
                        place.outcome == TR_UNTAGGED_BEYOND);
        }
        end(&h);
    }
}

/* Marks that repeat nowhere are found where three of them are hidden, too. */
static void irregular_and_partly_hidden(void **state) {
    (void)state;
    hall h;
    begin(&h);
    static const tr_vec2 AT[] = {{-600, 380}, {-250, 300}, {130, 400},   {590, 330},  {-480, -20},
                                 {60, 30},    {400, -60},  {-600, -400}, {-90, -330}, {520, -390}};
    for (size_t k = 0; k < sizeof AT / sizeof *AT; k++) {
        h.discs[k] = (tr_disc){.centre_mm = AT[k], .diameter_mm = k % 3 ? 70 : 100};
    }
    h.sheet.sheet.n_discs = sizeof AT / sizeof *AT;
    h.solids[0] = (tr_solid){.n_outline = 4,
                             .outline_xz_mm = {{1500, 1}, {1750, 1}, {1750, 3}, {1500, 3}},
                             .y_mm = {-400, 450},
                             .reflectance = 0.2};
    h.scene.n_solids = 1;
    take(&h);
    static const double OFF[][3] = {{120, 90, 2}};
    for (size_t k = 0; k < sizeof OFF / sizeof *OFF; k++) {
        tr_untagged_place place = find(&h, OFF[k][0], OFF[k][1], OFF[k][2]);
        check_right(&h, &place);
        assert_true(place.n_missing > 0);
    }
    end(&h);
}

/* Another mat lies there, or none of the photos looks there. */
static void not_there(void **state) {
    (void)state;
    hall h;
    begin(&h);
    add_grid(&h, true, 5, 3, 220);
    tr_sheet wanted = h.sheet.sheet;
    h.sheet.sheet.n_discs = 0;
    h.sheet.sheet.n_corners = 0;
    add_grid(&h, false, 6, 4, 200);
    take(&h);
    h.sheet.sheet = wanted;
    tr_untagged_place place = find(&h, 0, 0, 0);
    assert_int_equal(place.outcome, TR_UNTAGGED_NOT_SEEN);
    tr_pose away = h.sheet.vehicle_from_sheet;
    h.sheet.vehicle_from_sheet.t_mm.x += 9000;
    place = find(&h, 0, 0, 0);
    assert_int_equal(place.outcome, TR_UNTAGGED_OUT_OF_VIEW);
    h.sheet.vehicle_from_sheet = away;
    end(&h);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(discs_seen_whole),
        cmocka_unit_test(photos_a_little_off),
        cmocka_unit_test(corners_seen_whole),
        cmocka_unit_test(off_by_a_period),
        cmocka_unit_test(borders_out_of_view),
        cmocka_unit_test(a_border_is_covered),
        cmocka_unit_test(irregular_and_partly_hidden),
        cmocka_unit_test(not_there),
    };
    return cmocka_run_group_tests_name("untagged", tests, NULL, NULL);
}
