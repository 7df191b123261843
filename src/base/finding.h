/* Findings: what a person should know about a measurement, as data, in the order in which it was
   noticed. Whoever notices one says which it is and gives its arguments:

       return tr_note(SHEET_MOVED, findings, err, sheet->id, names, away_mm);

   The table below has every finding; the sentences stand in present/catalogue.c, and nothing below
   present knows them. A row of the table:

       X(NAME, code, blocks_pass, arguments)

   NAME         TR_FOUND_NAME is its number. Where there is more than one sentence to a code, each
                is a row of its own, a variant.
   code         for programs: lower-case words joined by '_'
   blocks_pass  the measurement cannot be trusted to give a pass
   arguments    a printf format, by which the compiler checks every tr_note: name=%s is text,
                name=%d an integer, name=%f a number. Names of quantities end in their unit.
                name[]=%s is a list, its items joined by newlines (tr_items_add). name=%p is a
                finding of its own that says a part of the sentence, such as a reason: the first of
                a tr_findings, or NULL. "-": none. */
#ifndef TR_BASE_FINDING_H
#define TR_BASE_FINDING_H

#include "base/error.h"

/* clang-format off */
#define TR_FINDINGS(X) \
    /* photos */ \
    X(PHOTO_NOT_USED,         "photo_not_used",        false, "photo=%s why=%p") \
    X(PHOTO_OTHER_LENS,       "photo_other_lens",      true,  "photo=%s why=%p") \
    X(PHOTO_SIZE,             "photo_size",            false, "photo=%s why=%p") \
    X(PHOTO_LENS_UNCLEAR,     "photo_lens_unclear",    false, "photo=%s why=%p") \
    X(PHOTO_MIRRORED,         "photo_mirrored",        true,  "photo=%s") \
    X(CAMERAS_DIFFER,         "photos_of_two_cameras", true, \
      "photo=%s camera=%p others[]=%s other_camera=%p lens=%s") \
    X(UNKNOWN_CAMERAS_DIFFER, "photos_of_two_cameras", true, \
      "photo=%s camera=%p others[]=%s other_camera=%p") \
    X(PHOTOS_FAR_APART,       "photos_far_apart",      false, \
      "first=%s first_taken=%s last=%s last_taken=%s") \
    X(TAG_SEEN_TWICE,         "tag_seen_twice",        true,  "photo=%s tag=%d family=%s") \
    /* what ties photos and sheets together */ \
    X(SHEET_NOT_CONNECTED,    "sheet_not_connected",   true,  "sheet=%s photos[]=%s") \
    X(PHOTO_NOT_CONNECTED,    "photo_not_connected",   false, "photo=%s") \
    X(ONLY_TIE,               "only_tie",              false, "sheet=%s photos[]=%s") \
    X(SHEET_NOT_FOUND,        "sheet_not_found",       true,  "sheet=%s") \
    X(PLATE_NOT_FOUND,        "plate_not_found",       true,  "sheet=%s wheel=%s") \
    X(POINT_NOT_FOUND,        "plate_not_found",       true,  "sheet=%s point=%s") \
    X(SEEN_ONCE,              "seen_once",             true,  "sheet=%s photos=%d") \
    X(UNNEEDED_SEEN_ONCE,     "seen_once",             false, "sheet=%s photos=%d") \
    X(SEEN_ONCE_IN_LAST,      "seen_once",             true,  "sheet=%s photos=%d") \
    X(UNNEEDED_ONCE_IN_LAST,  "seen_once",             false, "sheet=%s photos=%d") \
    /* what does not fit, and why */ \
    X(LENS_MISMATCH,          "lens_mismatch",         true, \
      "lens=%s fitted_px=%f profile_px=%f difference_percent=%f") \
    X(LENS_MISMATCH_OF_SOME,  "lens_mismatch",         true, \
      "photos[]=%s lens=%s fitted_px=%f profile_px=%f difference_percent=%f") \
    X(CAMERA_NOT_STEADY,      "camera_not_steady",     true, \
      "lens=%s shift_px=%f focal_percent=%f") \
    X(SHEET_SCALE,            "sheet_scale",           true, \
      "sheet=%s width_percent=%f height_percent=%f") \
    X(SHEET_MOVED,            "sheet_moved",           true, \
      "sheet=%s photos[]=%s away_mm=%f") \
    X(SHEET_AT_TWO_PLACES,    "sheet_moved",           true, \
      "sheet=%s photos[]=%s away_mm=%f") \
    X(TWO_PHOTOS_DISAGREE,    "two_photos_disagree",   false, \
      "sheet=%s photos[]=%s away_mm=%f") \
    X(SHEET_DOES_NOT_FIT,     "sheet_does_not_fit",    true,  "sheet=%s") \
    X(MARKS_CONTRADICT,       "marks_contradict",      true,  "sheet=%s photos[]=%s") \
    X(TAG_MISPLACED,          "tag_misplaced",         true,  "tag=%d sheet=%s away_mm=%f") \
    X(PHOTO_CONTRADICTS,      "photo_contradicts",     true,  "photo=%s") \
    X(PHOTO_OTHER_ZOOM,       "photo_contradicts",     true, \
      "photo=%s focal_percent=%f shift_px=%f") \
    X(PHOTO_TAKEN_MOVING,     "photo_contradicts",     true,  "photo=%s") \
    X(MARKS_LEFT_OUT,         "marks_left_out",        false, "left_out=%d all=%d") \
    X(MANY_MARKS_LEFT_OUT,    "marks_left_out",        true,  "left_out=%d all=%d") \
    X(DOES_NOT_FIT,           "does_not_fit",          true,  "times=%f") \
    X(FITS_POORLY,            "fits_poorly",           false, "times=%f") \
    X(CAMERA_SHIFTS_MORE,     "camera_scatters",       false, "lens=%s now_px=%f then_px=%f") \
    X(CAMERA_FOCUSES_MORE,    "camera_scatters",       false, \
      "lens=%s now_percent=%f then_percent=%f") \
    X(CAMERA_TURNS_MORE,      "camera_scatters",       false, "lens=%s now_deg=%f then_deg=%f") \
    X(CAMERA_TRAVELS_MORE,    "camera_scatters",       false, "lens=%s now_mm=%f then_mm=%f") \
    /* plates and the vehicle; x forward, y left */ \
    X(PLATES_SWAPPED,         "plates_swapped",        true, \
      "front_left=%s front_right=%s rear_left=%s rear_right=%s") \
    X(AXLE_PLATES_SWAPPED,    "plates_swapped",        true,  "is_rear=%d left=%s right=%s") \
    X(SHEETS_SWAPPED,         "plates_swapped",        true, \
      "front_left=%s front_right=%s rear_left=%s rear_right=%s") \
    X(AXLE_SHEETS_SWAPPED,    "plates_swapped",        true,  "is_rear=%d left=%s right=%s") \
    X(PLATE_OFF,              "plate_off",             true, \
      "sheet=%s wheel=%s away_mm=%f x_mm=%f y_mm=%f") \
    X(TRACK_OFF,              "track_off",             true, \
      "is_rear=%d measured_mm=%f stated_mm=%f") \
    X(WHEELBASE_OFF,          "wheelbase_off",         true,  "measured_mm=%f stated_mm=%f") \
    X(WHEELBASE_OF_HUBS_OFF,  "wheelbase_off",         true,  "measured_mm=%f stated_mm=%f") \
    X(AXLES_NOT_SQUARE,       "axles_not_square",      true,  "skew_mm=%f") \
    X(HUBS_NOT_SQUARE,        "axles_not_square",      true,  "skew_mm=%f") \
    X(AXLES_ASKEW,            "axles_askew",           false, "skew_mm=%f") \
    X(HUBS_ASKEW,             "axles_askew",           false, "skew_mm=%f") \
    X(THRUST_ANGLE,           "thrust_angle",          true, \
      "angle_deg=%f u95_deg=%f limit_deg=%f") \
    X(THRUST_NOT_MEASURED,    "thrust_angle",          true,  "-") \
    X(HUB_SLIPPED,            "hub_slipped",           true,  "sheet=%s") \
    X(HUBS_CONTRADICT,        "hubs_contradict",       true,  "turn_deg=%f way_mm=%f") \
    X(HUB_TURNED_ALONE,       "hub_turned_alone",      true, \
      "sheet=%s turned_deg=%f others_deg=%f") \
    X(ROLLED_TOO_LITTLE,      "rolled_too_little",     true,  "sheet=%s turned_deg=%f") \
    X(HUB_HANGS_ASKEW,        "hub_hangs_askew",       true,  "sheet=%s tilt_deg=%f stated_deg=%f") \
    X(WHEEL_IMPLAUSIBLE,      "wheel_implausible",     true, \
      "wheel=%s toe_deg=%f camber_deg=%f") \
    X(TWO_POSITIONS,          "two_positions",         false, "-") \
    X(SLIP_NOT_SEEN,          "slip_not_seen",         false, "tilt_deg=%f") \
    X(REAR_PLATES_ONLY,       "rear_plates_only",      false, "-") \
    X(REAR_HUBS_ONLY,         "rear_plates_only",      false, "-") \
    X(VEHICLE_ID_MALFORMED,   "vehicle_id",            false, "vehicle_id=%s length=%d") \
    X(VEHICLE_ID_CHARACTER,   "vehicle_id",            false, \
      "vehicle_id=%s character=%s place=%d") \
    X(VEHICLE_ID_DIGIT,       "vehicle_id",            false, \
      "vehicle_id=%s character=%s right=%s") \
    X(VEHICLE_ID_DIFFERS,     "vehicle_id_differs",    true, \
      "vehicle_id=%s read=%s photo=%s") \
    X(VEHICLE_IDS_DIFFER,     "vehicle_id_differs",    true, \
      "read=%s photo=%s other=%s other_photo=%s") \
    X(CODE_IS_NO_VIN,         "code_is_no_vin",        false, \
      "read=%s photo=%s character=%s place=%d") \
    X(CODE_NOT_FOUND,         "code_not_found",        false, "photo=%s") \
    X(CODE_PHOTO_NOT_READ,    "code_not_found",        false, "photo=%s text=%s") \
    X(LABEL_NOT_READ,         "label_not_read",        false, "sheet=%s") \
    X(LABEL_OF_UNUSED_SHEET,  "label_of_unused_sheet", false, "sheet=%s label=%s photo=%s") \
    /* what the layout wants to be seen to before */ \
    X(PRECONDITION_MISSING,   "precondition_missing",  true,  "text=%s id=%s") \
    X(PRECONDITION_NOT_DONE,  "precondition_missing",  true,  "text=%s id=%s reason=%s") \
    /* targets; x right, y up on the sheet */ \
    X(SHEET_TURNED,           "sheet_turned",          true,  "sheet=%s turn_deg=%f") \
    X(SHEET_TURNED_ROUND,     "sheet_turned",          true,  "sheet=%s turn_deg=%f") \
    X(BOARD_FACES_AWAY,       "board_faces_away",      true,  "sheet=%s turn_deg=%f") \
    X(BOARD_UPSIDE_DOWN,      "board_upside_down",     true,  "sheet=%s turn_deg=%f") \
    X(SHEET_NOT_FLAT,         "sheet_not_flat",        true, \
      "sheet=%s flatness_mm=%f u95_mm=%f limit_mm=%f x_mm=%f y_mm=%f") \
    X(FLATNESS_UNDECIDED,     "sheet_not_flat",        true, \
      "sheet=%s flatness_mm=%f u95_mm=%f limit_mm=%f") \
    X(FLATNESS_NOT_MEASURED,  "flatness_not_measured", false, "sheet=%s limit_mm=%f") \
    /* targets without tags */ \
    X(TOO_FEW_POINTERS,       "sheet_not_found",       true,  "sheet=%s pointers=%d") \
    X(POINTER_MISLAID,        "pointer_mislaid",       true, \
      "pointer=%s point=%s sheet=%s away_mm=%f") \
    X(POINTERS_CONTRADICT,    "pointer_mislaid",       true, \
      "pointer=%s point=%s other=%s other_point=%s sheet=%s apart_mm=%f") \
    X(POINTER_NOT_AT_SHEET,   "pointer_mislaid",       true, \
      "pointer=%s point=%s sheet=%s away_mm=%f") \
    X(ARTWORK_OUT_OF_VIEW,    "artwork_out_of_view",   true,  "sheet=%s") \
    X(ARTWORK_NOT_FOUND,      "artwork_not_found",     true,  "sheet=%s within_mm=%f") \
    X(ARTWORK_AMBIGUOUS,      "artwork_ambiguous",     true,  "sheet=%s") \
    X(ARTWORK_BEYOND,         "artwork_not_found",     true,  "sheet=%s within_mm=%f") \
    X(ARTWORK_LOOKS_TURNED,   "artwork_looks_turned",  false, "sheet=%s is_square=%d") \
    X(ARTWORK_NOT_USED,       "artwork_not_used",      false, "sheet=%s") \
    X(ARTWORK_NOT_AT_POINTERS, "artwork_not_found",    true,  "sheet=%s") \
    /* the floor; slopes rise towards the target, the front or the left */ \
    X(FLOOR_SLOPES,           "floor_slope",           true, \
      "sheet=%s slope_deg=%f rise_mm_per_m=%f u95_deg=%f is_beyond=%d limit_deg=%f") \
    X(FLOOR_TILTS,            "floor_slope",           true, \
      "sheet=%s is_along=%d slope_deg=%f u95_deg=%f is_beyond=%d limit_deg=%f") \
    X(FLOOR_NOT_LEVEL,        "floor_not_level",       true, \
      "sheet=%s slope_deg=%f rise_mm_per_m=%f u95_deg=%f is_beyond=%d limit_deg=%f") \
    X(STAND_NOT_LEVEL,        "floor_not_level",       true, \
      "is_along=%d slope_deg=%f u95_deg=%f is_beyond=%d limit_deg=%f") \
    X(FLOOR_OUT_OF_FLAT,      "floor_not_flat",        true, \
      "sheet=%s out_mm=%f u95_mm=%f is_beyond=%d limit_mm=%f") \
    X(FLOOR_NOT_SEEN,         "floor_not_measured",    true,  "sheet=%s") \
    X(STAND_NOT_SEEN,         "floor_not_measured",    true,  "-") \
    X(FLOOR_FEW_SHEETS,       "floor_not_measured",    true,  "sheets=%d") \
    X(LEVEL_NOT_READ,         "level_not_read",        true,  "-") \
    X(LEVEL_SHEET_NOT_FOUND,  "level_not_read",        true,  "sheet=%s") \
    /* what was taken as exact, or is not known */ \
    X(LENS_WITHOUT_COVARIANCE, "lens_without_covariance", false, "lens=%s") \
    X(SHEET_TAKEN_AS_EXACT,   "sheet_taken_as_exact",  false, "sheet=%s") \
    X(PLATES_TAKEN_AS_EXACT,  "plates_taken_as_exact", false, "-") \
    X(HUBS_TAKEN_AS_EXACT,    "plates_taken_as_exact", false, "-") \
    X(HUBS_TAKEN_AS_SQUARE,   "plates_taken_as_exact", false, "-") \
    X(LENS_UNKNOWN,           "lens_unknown",          false, "focal_px=%f u95_percent=%f") \
    X(PROFILE_GAINS_LITTLE,   "lens_unknown",          false, \
      "focal_px=%f u95_percent=%f sheet=%s") \
    X(PROFILE_GAINS,          "lens_unknown",          false, \
      "focal_px=%f u95_percent=%f sheet=%s x_mm=%f y_mm=%f yaw_deg=%f now_x_mm=%f now_y_mm=%f " \
      "now_yaw_deg=%f") \
    /* surveys */ \
    X(MARKS_NOT_MEASURED,     "mark_not_measured",     false, "sheet=%s marks[]=%s") \
    X(MARK_UNCERTAIN,         "mark_uncertain",        false, "mark=%s sheet=%s u95_mm=%f") \
    X(MARK_AND_SCALE_UNCERTAIN, "mark_uncertain",      false, "mark=%s sheet=%s u95_mm=%f") \
    X(STUCK_TAG_SIZE,         "stuck_tag_size",        false, \
      "tag=%d sheet=%s stated_mm=%f measured_mm=%f") \
    X(SURVEYED_SHEET_NOT_FLAT, "sheet_not_flat",       false, \
      "sheet=%s flatness_mm=%f u95_mm=%f x_mm=%f y_mm=%f") \
    X(ALIGN_DOES_NOT_FIT,     "align_does_not_fit",    false, "sheet=%s rms_mm=%f") \
    X(BAR_NOT_USED,           "length_not_used",       false, "bar=%s") \
    X(RULE_NOT_USED,          "length_not_used",       false, "sheet=%s axis=%s") \
    X(SCALE_UNCERTAIN,        "scale_uncertain",       false, "u95_mm_per_m=%f") \
    X(ONE_LENGTH,             "one_length",            false, "-") \
    X(SURVEY_FEW_PHOTOS,      "few_photos",            false, "photos=%d") \
    X(MARKS_SCATTER,          "marks_scatter",         false, "variance_factor=%f") \
    X(SIGHTINGS_LEFT_OUT,     "marks_left_out",        false, "left_out=%d") \
    /* lens calibrations: photos */ \
    X(PHOTO_LEFT_OUT,         "photo_left_out",        false, "photo=%s why=%p") \
    X(BOARD_PARTLY_HIDDEN,    "board_partly_hidden",   false, \
      "photo=%s missing=%d all=%d why=%p") \
    X(PHOTO_BLURRED,          "photo_blurred",         false, \
      "photo=%s width_px=%f usual_px=%f") \
    X(PHOTO_MISFIT,           "photo_misfit",          false, "photo=%s rms_px=%f") \
    X(CORNERS_OFF,            "corners_off",           false, "photo=%s corners=%d most_px=%f") \
    X(PHOTOS_ALIKE,           "photos_alike",          false, "photo=%s other=%s") \
    X(CALIBRATION_FEW_PHOTOS, "few_photos",            false, "photos=%d") \
    X(PART_NOT_COVERED,       "part_not_covered",      false, "places[]=%s") \
    X(EDGES_NOT_TOLD,         "edges_not_told",        false, "-") \
    X(FEW_TILTED,             "few_tilted",            false, \
      "tilted=%d photos=%d least_deg=%f wanted=%d") \
    X(TILT_MISSING,           "tilt_missing",          false, "edges[]=%s") \
    X(QUARTER_TURN,           "quarter_turn",          false, "-") \
    /* the camera */ \
    X(CALIBRATION_FITS_POORLY, "fits_poorly",          false, "-") \
    X(NOT_AS_STEADY,          "fits_poorly",           false, "rms_px=%f") \
    X(LENS_SHIFTS,            "lens_shifts",           false, "shift_px=%f") \
    X(FOCAL_CHANGES,          "focal_changes",         false, "change_percent=%f") \
    X(HAND_MOVES,             "hand_moves",            false, "moved_px=%f") \
    X(FOCAL_UNCERTAIN,        "focal_uncertain",       false, "sd_percent=%f") \
    X(FOCAL_UNEQUAL,          "focal_unequal",         false, "difference_percent=%f") \
    /* the board */ \
    X(BOARD_STRETCHED,        "board_stretched",       false, \
      "stretch_percent=%f squares_x=%d squares_y=%d") \
    X(BOARD_UNEVEN,           "board_uneven",          false, "along_mm=%f out_mm=%f") \
    X(BOARD_UNEVEN_ALONG,     "board_uneven",          false, "along_mm=%f") \
    X(BOARD_UNEVEN_OUT,       "board_uneven",          false, "out_mm=%f") \
    X(BOARD_BOWED,            "board_bowed",           false, "bow_mm=%f is_along=%d") \
    X(BOARD_SQUARE,           "board_square",          false, "-") \
    X(MEASURE_BOARD,          "measure_board",         false, \
      "squares_x=%d width_mm=%f squares_y=%d height_mm=%f") \
    /* lens re-checks */ \
    X(RECHECK_FOCAL_DIFFERS,  "lens_differs",          false, \
      "lens=%s change_percent=%f deviations=%f") \
    X(RECHECK_LENS_DIFFERS,   "lens_differs",          false, "lens=%s") \
    X(RECHECK_FEW_PHOTOS,     "few_photos",            false, "photos=%d wanted=%d") \
    X(RECHECK_FOCAL_UNCERTAIN, "focal_uncertain",      false, "sd_percent=%f wanted_percent=%f") \
    X(LENS_UNCONFIRMED,       "lens_unconfirmed",      false, "lens=%s hours=%f wanted_hours=%f") \
    X(LENS_NEVER_CONFIRMED,   "lens_unconfirmed",      false, "lens=%s wanted_hours=%f") \
    X(LENS_DIFFERS,           "lens_differs",          true,  "lens=%s hours=%f") \
    X(LENS_CONFIRMATION_DEMANDED, "lens_confirmation_demanded", true, \
      "lens=%s hours=%f wanted_hours=%f") \
    X(LENS_NEVER_CONFIRMED_DEMANDED, "lens_confirmation_demanded", true, \
      "lens=%s wanted_hours=%f") \
    /* prints */ \
    X(NO_ROOM_PLUMB_MARK,     "no_room",               false, "-") \
    X(NO_ROOM_TIP,            "no_room",               false, "-") \
    X(NO_ROOM_FOOT_MARK,      "no_room",               false, "-") \
    X(NO_ROOM_RULE_ACROSS,    "no_room",               false, "-") \
    X(NO_ROOM_UPRIGHT_RULE,   "no_room",               false, "-") \
    X(NO_ROOM_SHEET_ID,       "no_room",               false, "-") \
    X(NO_ROOM_UP_ARROW,       "no_room",               false, "-") \
    X(NO_ROOM_NOTE,           "no_room",               false, "-") \
    /* reasons, which the findings above and results have as parts: why a photo is not used */ \
    X(SAID,                   "why",                   false, "text=%s") \
    X(BESIDE_LIST,            "why",                   false, "list=%s") \
    X(FITS_NO_FILE,           "why",                   false, "pattern=%s") \
    X(SAME_PHOTO,             "why",                   false, "other=%s") \
    X(IS_MIRRORED,            "why",                   false, "-") \
    X(SHOWS_NO_MARK,          "why",                   false, "-") \
    X(SHOWS_NO_MARK_OF_SURVEY, "why",                  false, "-") \
    X(MARKS_DO_NOT_TIE,       "why",                   false, "-") \
    X(TAKEN_OTHERWISE,        "why",                   false, "camera=%p profile_camera=%p") \
    X(SIZE_OTHER,             "why",                   false, \
      "width_px=%d height_px=%d profile_width_px=%d profile_height_px=%d") \
    X(SIZE_TURNED,            "why",                   false, \
      "width_px=%d height_px=%d profile_width_px=%d profile_height_px=%d") \
    X(SIZE_CHANGED,           "why",                   false, \
      "width_px=%d height_px=%d profile_width_px=%d profile_height_px=%d") \
    X(SIZE_LOOKS,             "why",                   false, \
      "width_px=%d height_px=%d profile_width_px=%d profile_height_px=%d looks=%p") \
    X(NO_PROFILE,             "why",                   false, "width_px=%d height_px=%d") \
    X(NO_PROFILE_OF_CAMERA,   "why",                   false, \
      "width_px=%d height_px=%d camera=%s") \
    X(NO_PROFILE_LOOKS,       "why",                   false, \
      "width_px=%d height_px=%d looks=%p") \
    X(TWO_PROFILES,           "why",                   false, "lens=%s other_lens=%s photo=%s") \
    X(SIZES_DIFFER,           "why",                   false, \
      "width_px=%d height_px=%d usual=%s usual_width_px=%d usual_height_px=%d") \
    X(SIZES_DIFFER_TURNED,    "why",                   false, \
      "width_px=%d height_px=%d usual=%s usual_width_px=%d usual_height_px=%d") \
    X(LOOKS,                  "why",                   false, "looks=%p") \
    /* of photos of a board */ \
    X(NO_BOARD,               "why",                   false, "squares_x=%d squares_y=%d") \
    X(NO_BOARD_LOOKS,         "why",                   false, "looks=%p") \
    X(FEW_CORNERS,            "why",                   false, "measured=%d all=%d others=%p") \
    X(SAME_FILE,              "why",                   false, "other=%s") \
    X(FITS_WORSE,             "why",                   false, "times=%f") \
    X(FOCAL_IS_OTHER,         "why",                   false, "off_percent=%f") \
    X(AXIS_IS_ELSEWHERE,      "why",                   false, "off_px=%f") \
    /* why corners of a board were not measured; advice is for the most frequent reason */ \
    X(BOTH_REASONS,           "corners",               false, "first=%p second=%p") \
    X(CORNERS_OFF_IMAGE,      "corners",               false, "corners=%d is_most=%d") \
    X(CORNERS_SMALL,          "corners",               false, "corners=%d is_most=%d") \
    X(CORNERS_FAINT,          "corners",               false, "corners=%d is_most=%d") \
    X(CORNERS_COVERED,        "corners",               false, "corners=%d is_most=%d") \
    X(CORNERS_BLURRED,        "corners",               false, "corners=%d is_most=%d") \
    X(CORNERS_UNLIKE,         "corners",               false, "corners=%d is_most=%d") \
    X(CORNERS_UNSETTLED,      "corners",               false, "corners=%d is_most=%d") \
    /* how photos were taken (image/camera.h) */ \
    X(WITH_CAMERA,            "camera",                false, "camera=%s") \
    X(AT_DIGITAL_ZOOM,        "camera",                false, "zoom=%f") \
    X(AT_FOCAL_LENGTH,        "camera",                false, "focal_mm=%f") \
    X(AT_EQUIVALENT_FOCAL_LENGTH, "camera",            false, "focal_mm=%f") \
    X(WITH_CAMERA_LENS,       "camera",                false, "lens=%s") \
    /* what a picture looks like (image/kind.h) */ \
    X(LOOKS_PANORAMA,         "looks",                 false, "-") \
    X(LOOKS_SCREENSHOT,       "looks",                 false, "-") \
    X(LOOKS_CUT,              "looks",                 false, "-") \
    X(LOOKS_SHRUNK,           "looks",                 false, "-") \
    X(LOOKS_COPY,             "looks",                 false, "-")
/* clang-format on */

#define TR_FINDING_ENUM(NAME, code, blocks_pass, arguments) TR_FOUND_##NAME,
typedef enum { TR_FINDINGS(TR_FINDING_ENUM) TR_N_FINDINGS } tr_finding_kind;

#define TR_FINDING_ARGUMENTS(NAME, code, blocks_pass, arguments)                                   \
    __attribute__((unused)) static const char TR_FOUND_##NAME##_ARGUMENTS[] = arguments;
TR_FINDINGS(TR_FINDING_ARGUMENTS)

enum { TR_MAX_ARGUMENTS = 9, TR_ARGUMENT_NAME_SIZE = 24 };

typedef struct {
    char name[TR_ARGUMENT_NAME_SIZE]; /* "": there are no more */
    enum {
        TR_ARGUMENT_NUMBER,
        TR_ARGUMENT_INTEGER,
        TR_ARGUMENT_TEXT,
        TR_ARGUMENT_LIST,
        TR_ARGUMENT_PART
    } type;
    double number;           /* or integer */
    char *text;              /* or the list's items, joined by newlines; owned */
    struct tr_finding *part; /* NULL: nothing is said; owned */
} tr_argument;

typedef struct tr_finding {
    tr_finding_kind kind;
    tr_argument arguments[TR_MAX_ARGUMENTS];
} tr_finding;

/* All zero is a valid empty list. */
typedef struct {
    tr_finding *items;
    int n, capacity;
} tr_findings;

/* tr_note(NAME, findings, err, arguments...) adds TR_FOUND_NAME to the list, once: not where it is
   there with the same arguments. False: memory ran out. */
#define tr_note(NAME, ...)                                                                         \
    tr_findings_add(TR_FOUND_##NAME, TR_FOUND_##NAME##_ARGUMENTS, __VA_ARGS__)
TR_MUST_USE bool tr_findings_add(tr_finding_kind kind, const char *arguments, tr_findings *list,
                                 tr_error *err, ...) TR_PRINTF(2, 5);

const char *tr_finding_code(tr_finding_kind kind);
/* The row's NAME, which tells variants apart. */
const char *tr_finding_name(tr_finding_kind kind);
/* The kind of that name; TR_N_FINDINGS: there is none. */
tr_finding_kind tr_finding_kind_of(const char *name);
bool tr_finding_blocks_pass(tr_finding_kind kind);

/* Names and types of a kind's arguments, nothing in them. Returns their number. */
int tr_finding_arguments(tr_finding_kind kind, tr_argument out[TR_MAX_ARGUMENTS]);

/* Adds a finding with copies of its arguments, once, as tr_note does. */
TR_MUST_USE bool tr_findings_copy(const tr_finding *finding, tr_findings *list, tr_error *err);

TR_MUST_USE bool tr_findings_copy_all(const tr_findings *from, tr_findings *list, tr_error *err);

/* The list has one of this kind, or of another variant of it. */
bool tr_findings_have(const tr_findings *list, tr_finding_kind kind);
bool tr_findings_block_pass(const tr_findings *list);
void tr_findings_release(tr_findings *list);
/* One that belongs to no list: what its arguments own. */
void tr_finding_release(tr_finding *finding);

/* Appends an item to a list for an argument. *list is to be freed; NULL and "" are empty ones.
   False: memory ran out. */
TR_MUST_USE bool tr_items_add(char **list, const char *item, tr_error *err);

#endif
