#include "present/catalogue.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "present/words.h"

/* Items of a list that are named unless its placeholder says more. */
enum { USUAL_ITEMS = 4 };

static const char *const MESSAGES[TR_N_FINDINGS] = {
    /* ---- photos ---- */
    [TR_FOUND_PHOTO_NOT_USED] = "Photo {photo} is not used: {why}.",
    [TR_FOUND_PHOTO_OTHER_LENS] = "Photo {photo} is not used: {why}.",
    [TR_FOUND_PHOTO_SIZE] = "Photo {photo} is not used: {why}.",
    [TR_FOUND_PHOTO_LENS_UNCLEAR] = "Photo {photo} is not used: {why}.",
    [TR_FOUND_PHOTO_MIRRORED] = "Photo {photo} is mirrored left to right: turn mirroring off in "
                                "the camera's settings and take it again.",
    [TR_FOUND_CAMERAS_DIFFER] =
        "Photo {photo} was taken {camera}, but {others} {other_camera}: lens profile '{lens}' can "
        "be right for only one of them. Choose the camera of the calibration by hand, stop the "
        "phone from switching cameras by itself, and take the others again.",
    [TR_FOUND_UNKNOWN_CAMERAS_DIFFER] =
        "Photo {photo} was taken {camera}, but {others} {other_camera}: photos of an unknown lens "
        "must all be from one camera. Choose a camera by hand, stop the phone from switching by "
        "itself, and take the others again.",
    [TR_FOUND_PHOTOS_FAR_APART] =
        "Photo {first} was taken at {first_taken}, but {last} at {last_taken}: were all photos "
        "taken of this setup? If not, take them again.",
    [TR_FOUND_TAG_SEEN_TWICE] =
        "Photo {photo} shows tag {tag} of {family} twice: a second print of the same sheet is in "
        "view. Remove it and take the photos again.",

    /* ---- what ties photos and sheets together ---- */
    [TR_FOUND_SHEET_NOT_CONNECTED] =
        "{sheet} is seen only in {photos}, which {photos?shows|show} nothing that ties it to the "
        "other sheets. Take two more photos that show {sheet} together with a neighbouring sheet.",
    [TR_FOUND_PHOTO_NOT_CONNECTED] =
        "Photo {photo} shows no sheet that the other photos share; it is not used.",
    [TR_FOUND_ONLY_TIE] = "Only {sheet} ties {photos} to the other photos, so nothing shows that "
                          "it lay still in between. Take another photo that shows a sheet from the "
                          "one group together with a sheet from the other.",
    [TR_FOUND_SHEET_NOT_FOUND] = "{sheet}, which the layout requires, could not be measured: no "
                                 "usable photo shows it together with other sheets.",
    [TR_FOUND_PLATE_NOT_FOUND] =
        "{sheet}, which marks the {~wheel} wheel, could not be measured: take two photos that show "
        "it together with another sheet.",
    [TR_FOUND_POINT_NOT_FOUND] = "{sheet}, which marks the point '{point}', could not be measured: "
                                 "take two photos that show "
                                 "it together with another sheet.",
    [TR_FOUND_SEEN_ONCE] = "{sheet} was measured {photos?in only one photo|from only one place}, "
                           "so nothing shows that it lay still or that it is printed at the right "
                           "size. Take another photo of it from a different side.",
    [TR_FOUND_UNNEEDED_SEEN_ONCE] =
        "{sheet} was measured {photos?in only one photo|from only one place}, so nothing shows "
        "that it lay still or that it is printed at the right size. Take another photo of it from "
        "a different side.",
    [TR_FOUND_SEEN_ONCE_IN_LAST] =
        "In the last position {sheet} was measured {photos?in only one photo|from only one place}, "
        "so nothing shows that it stayed still while that position's photos were taken. Take "
        "another photo of it in that position, from a different side.",
    [TR_FOUND_UNNEEDED_ONCE_IN_LAST] =
        "In the last position {sheet} was measured {photos?in only one photo|from only one place}, "
        "so nothing shows that it stayed still while that position's photos were taken. Take "
        "another photo of it in that position, from a different side.",

    /* ---- what does not fit, and why ---- */
    [TR_FOUND_LENS_MISMATCH] =
        "These photos were not taken with the lens of profile '{lens}': they fit a focal length of "
        "{fitted_px:.0f} px, the profile says {profile_px:.0f} px ({difference_percent:+.1f} %). "
        "Use the profile of this camera, at this zoom and image size, or calibrate it with "
        "'trammel lens'.",
    [TR_FOUND_LENS_MISMATCH_OF_SOME] =
        "{photos} {photos?was|were} not taken with the lens of profile '{lens}': {photos?it "
        "fits|they fit} a focal length of {fitted_px:.0f} px, the profile says {profile_px:.0f} px "
        "({difference_percent:+.1f} %). Use the profile of this camera, at this zoom and image "
        "size, or calibrate it with 'trammel lens'.",
    [TR_FOUND_CAMERA_NOT_STEADY] =
        "The profile '{lens}' says that the camera is steady, but it is not: from photo to photo "
        "its image shifts by about {shift_px:.0f} px and its focal length changes by "
        "{focal_percent:.2f} %. Turn stabilisation and autofocus off, or calibrate again without "
        "--steady.",
    [TR_FOUND_SHEET_SCALE] = "{sheet} is not printed at the size that its file states: it is "
                             "{width_percent:.1f} % as wide and {height_percent:.1f} % as high. "
                             "Check the sheet with a rule; print it at 100 % or correct the file.",
    [TR_FOUND_SHEET_MOVED] =
        "{sheet} was moved between the photos: in {photos} it lies {away_mm:.0f} mm away from "
        "where the other photos show it. Leave everything where it is and take all photos again. "
        "If these are photos of two set-ups, move the earlier ones into a subfolder of their own.",
    [TR_FOUND_SHEET_AT_TWO_PLACES] =
        "{sheet} does not lie in one place: in {photos} it is about {away_mm:.0f} mm away from "
        "where the other photos show it. Something was moved between the photos; take them all "
        "again. If these are photos of two set-ups, move the earlier ones into a subfolder of "
        "their own.",
    [TR_FOUND_TWO_PHOTOS_DISAGREE] =
        "Only {photos} show {sheet}, and they disagree by about {away_mm:.0f} mm about where it "
        "is. It may have been pushed in between; the uncertainty allows for that. Take two more "
        "photos of it, and let nobody touch it meanwhile.",
    [TR_FOUND_SHEET_DOES_NOT_FIT] =
        "{sheet} contradicts all other sheets: it is bent, was moved between photos, or is not "
        "what its sheet file says. Flatten it, check it with a rule, and take the photos again.",
    [TR_FOUND_MARKS_CONTRADICT] =
        "In {photos}, much of {sheet} contradicts the other photos: it is partly hidden, bent, or "
        "not what its file says. Take the {photos?photo|photos} again with the whole sheet in "
        "view, lying flat, or leave {photos?it|them} out if other photos show the sheet.",
    [TR_FOUND_TAG_MISPLACED] =
        "Tag {tag} of {sheet} is not where the sheet file says (about {away_mm:.0f} mm off): check "
        "the file, and that the sheet lies flat.",
    [TR_FOUND_PHOTO_CONTRADICTS] =
        "Photo {photo} contradicts the others and is not used: something was moved, or it is of "
        "another job, or from another camera or zoom. Leave it out only if you know why; otherwise "
        "take all photos again.",
    [TR_FOUND_PHOTO_OTHER_ZOOM] =
        "Photo {photo} contradicts the others and is not used: it was taken at another zoom or "
        "focus, or was cropped, or something was moved (it fits a focal length "
        "{focal_percent:+.1f} % off, and an image shifted by {shift_px:.0f} px). Leave it out only "
        "if you know why; otherwise take all photos again.",
    [TR_FOUND_PHOTO_TAKEN_MOVING] =
        "Photo {photo} contradicts the others and is not used: the camera moved while it was "
        "taken, or a sheet did. Hold still, rest your elbows, use more light, and switch burst and "
        "night modes off. Leave the photo out only if you know why; otherwise take all photos "
        "again.",
    [TR_FOUND_MARKS_LEFT_OUT] = "{left_out} of {all} marks {left_out?contradicts|contradict} the "
                                "others and {left_out?was|were} left out.",
    [TR_FOUND_MANY_MARKS_LEFT_OUT] = "{left_out} of {all} marks {left_out?contradicts|contradict} "
                                     "the others and {left_out?was|were} left out.",
    [TR_FOUND_DOES_NOT_FIT] =
        "The photos contradict each other: marks lie {times:.1f} times further from their places "
        "than their own uncertainty allows. Something was moved or is bent, or the lens profile is "
        "not this camera's. Look for the cause, and take all photos again.",
    [TR_FOUND_FITS_POORLY] = "Marks lie {times:.1f} times further from their places than their own "
                             "uncertainty allows; the uncertainty of the results was raised to "
                             "match. A new lens calibration or flatter sheets would help.",
    [TR_FOUND_CAMERA_SHIFTS_MORE] =
        "The camera changes more from photo to photo than when profile '{lens}' was made: its "
        "image shifts by about {now_px:.3g} px (then {then_px:.3g} px). The uncertainty allows for "
        "it. Was stabilisation set differently, or is it another camera?",
    [TR_FOUND_CAMERA_FOCUSES_MORE] =
        "The camera changes more from photo to photo than when profile '{lens}' was made: its "
        "focal length changes by about {now_percent:.3g} % (then {then_percent:.3g} %). The "
        "uncertainty allows for it. Lock focus and zoom.",
    [TR_FOUND_CAMERA_TURNS_MORE] =
        "The camera changes more from photo to photo than when profile '{lens}' was made: it turns "
        "by about {now_deg:.3g}° while a photo is read out (then {then_deg:.3g}°). The uncertainty "
        "allows for it. Hold still, rest your elbows, use more light, and switch burst and night "
        "modes off.",
    [TR_FOUND_CAMERA_TRAVELS_MORE] =
        "The camera changes more from photo to photo than when profile '{lens}' was made: it moves "
        "by about {now_mm:.3g} mm while a photo is read out (then {then_mm:.3g} mm). The "
        "uncertainty allows for it. Hold still, rest your elbows, use more light, and switch burst "
        "and night modes off.",

    /* ---- plates and the vehicle ---- */
    [TR_FOUND_PLATES_SWAPPED] =
        "The plates are swapped: left and right, or front and rear, are the wrong way round. Put "
        "each plate at the wheel that the job names: {front_left} front left, {front_right} front "
        "right, {rear_left} rear left, {rear_right} rear right.",
    [TR_FOUND_AXLE_PLATES_SWAPPED] = "The plates of the {is_rear?rear|front} wheels are swapped: "
                                     "{left} belongs at the left wheel, {right} at the right one.",
    [TR_FOUND_SHEETS_SWAPPED] =
        "The sheets at the wheels are swapped: left and right, or front and rear, are the wrong "
        "way round. Put each sheet at the wheel that the job names: {front_left} front left, "
        "{front_right} front right, {rear_left} rear left, {rear_right} rear right.",
    [TR_FOUND_AXLE_SHEETS_SWAPPED] =
        "The sheets of the {is_rear?rear|front} wheels are swapped: {left} belongs at the left "
        "wheel, {right} at the right one.",
    [TR_FOUND_PLATE_OFF] = "{sheet} at the {~wheel} wheel seems to lie {away_mm:.0f} mm off its "
                           "plumb mark ({|x_mm|:.0f} mm too far {x_mm?forward|backward}, "
                           "{|y_mm|:.0f} mm too far to the {y_mm?left|right}): the other three "
                           "plates agree with the vehicle's lengths. Place it again.",
    [TR_FOUND_TRACK_OFF] =
        "The {is_rear?rear|front} track (between the {is_rear?rear|front} plates) measures "
        "{measured_mm:.0f} mm, but the layout says {stated_mm:.0f} mm: a plate is off its plumb "
        "mark, or this is another vehicle.",
    [TR_FOUND_WHEELBASE_OFF] =
        "The wheelbase measures {measured_mm:.0f} mm, but the layout says {stated_mm:.0f} mm: a "
        "plate is off its plumb mark, or this is another vehicle.",
    [TR_FOUND_WHEELBASE_OF_HUBS_OFF] =
        "The wheelbase measures {measured_mm:.0f} mm, but the layout says {stated_mm:.0f} mm: a "
        "sheet is off the centre of its wheel, or this is another vehicle.",
    [TR_FOUND_AXLES_NOT_SQUARE] =
        "The plates do not make a straight vehicle: seen square to one axle, the middle of the "
        "other lies {skew_mm:.0f} mm to the side. A plate is off its plumb mark.",
    [TR_FOUND_HUBS_NOT_SQUARE] =
        "The wheels do not make a straight vehicle: seen square to one axle, the middle of the "
        "other lies {skew_mm:.0f} mm to the side. A sheet is off the centre of its wheel, its "
        "stand-off is not what the job says, or an axle is out of place.",
    [TR_FOUND_AXLES_ASKEW] =
        "Seen square to one axle, the middle of the other lies {skew_mm:.0f} mm to the side, which "
        "the stated uncertainties do not explain: a plate is off its plumb mark, or the vehicle's "
        "axles are not parallel. Check the plates.",
    [TR_FOUND_HUBS_ASKEW] =
        "Seen square to one axle, the middle of the other lies {skew_mm:.0f} mm to the side, which "
        "the stated uncertainties do not explain: a sheet is off the centre of its wheel or at "
        "another stand-off than the job says, or the vehicle's axles are not parallel. Check the "
        "sheets at the wheels.",
    [TR_FOUND_THRUST_ANGLE] =
        "The rear wheels run {|angle_deg|:.2f}° to the {angle_deg?left|right} of the centreline "
        "(±{u95_deg:.2f}), but the layout allows {limit_deg:.2f}°, u95 included: align the vehicle "
        "first, or what is set up by this line aims wrong afterwards.",
    [TR_FOUND_THRUST_NOT_MEASURED] =
        "The layout limits the thrust angle, which was not measured: it needs hub sheets on both "
        "rear wheels, and all four wheels marked.",
    [TR_FOUND_HUB_SLIPPED] =
        "{sheet} does not fit the other hub sheets in all roll positions: it slipped on its wheel "
        "while the vehicle was rolled, or that wheel was steered. Fix it, set the steering "
        "straight "
        "and take all positions again.",
    [TR_FOUND_HUBS_CONTRADICT] =
        "The hub sheets do not fit one vehicle that was rolled: they are off by up to "
        "{turn_deg:.2f}° "
        "and {way_mm:.1f} mm. A wheel was steered or braked, sheets slipped, or the vehicle was "
        "rolled between photos of one position. Take all positions again.",
    [TR_FOUND_HUB_TURNED_ALONE] =
        "{sheet} turned by {turned_deg:.0f}° between two positions, but the other wheels by "
        "{others_deg:.0f}°: it slipped on its wheel, or hangs on another one than the job says. "
        "Fix "
        "it and take all positions again.",
    [TR_FOUND_ROLLED_TOO_LITTLE] =
        "The wheel of {sheet} turned by only {turned_deg:.0f}° between the positions, which does "
        "not "
        "tell its axis: roll the vehicle by about a quarter turn of the wheels.",
    [TR_FOUND_HUB_HANGS_ASKEW] =
        "{sheet} seems to hang {tilt_deg:.1f}° out of square to its wheel's axis, far more than "
        "the "
        "job states ({stated_deg:.1f}°): it slipped between the positions, its wheel was steered, "
        "or "
        "it is not fixed well. Fix it, set the steering straight and take all positions again.",
    [TR_FOUND_WHEEL_IMPLAUSIBLE] =
        "The {~wheel} wheel seems to have a toe of {toe_deg:.1f}° and a camber of "
        "{camber_deg:.1f}°, "
        "which no sound vehicle has: a wheel was steered, a sheet slipped, or it hangs on another "
        "wheel than the job says. Set the steering straight, check the sheets and take the photos "
        "again.",
    [TR_FOUND_SLIP_NOT_SEEN] =
        "With two positions a sheet that tilted on its wheel in between by less than about "
        "{tilt_deg:.1f}°, or a wheel that was steered by as little, would not be noticed. A third "
        "position would show it.",
    [TR_FOUND_TWO_POSITIONS] =
        "With two positions alone the vehicle's way along X is not told apart from how the hub "
        "sheets hang: u95 of what counts from an axle contains that. A third position, or a sheet "
        "that stays on the body, would tell it.",
    [TR_FOUND_REAR_PLATES_ONLY] =
        "Only the rear wheels are marked: a rear plate too far forward or backward would turn the "
        "vehicle's whole coordinate system and cannot be noticed. Four plates are safer.",
    [TR_FOUND_REAR_HUBS_ONLY] =
        "Only the rear wheels are marked: a rear sheet that hangs too far forward or backward of "
        "the centre of its wheel would turn the vehicle's whole coordinate system and cannot be "
        "noticed. Sheets at all four wheels are safer.",
    [TR_FOUND_VEHICLE_ID_MALFORMED] =
        TR_N("The vehicle id {vehicle_id} is not a vehicle identification number (VIN): it has "
             "{length} {length?character|characters}, and these have 17."),
    [TR_FOUND_VEHICLE_ID_CHARACTER] = TR_N(
        "The vehicle id {vehicle_id} is not a vehicle identification number (VIN): place {place} "
        "is '{character}', but these have capital letters and digits alone, without I, O and Q."),
    [TR_FOUND_VEHICLE_ID_DIGIT] =
        TR_N("The check digit (the ninth character) of the VIN {vehicle_id} does not fit: it is "
             "{character}, and {right} would be right. Read the VIN from the vehicle again. "
             "Outside North America that character may be anything."),
    [TR_FOUND_VEHICLE_ID_DIFFERS] =
        TR_N("Photo {photo} shows vehicle {read}, but the job is for {vehicle_id}: is it the "
             "right vehicle, and the right job? Correct vehicle_id, or leave the photo out of "
             "'codes'."),
    [TR_FOUND_VEHICLE_IDS_DIFFER] =
        TR_N("Photo {photo} shows vehicle {read}, but photo {other_photo} shows {other}: state "
             "in 'vehicle_id' which is measured, and leave photos of the other out of 'codes'."),
    [TR_FOUND_CODE_IS_NO_VIN] = TR_N("Photo {photo} shows the code {read}, which has the length of "
                                     "a VIN but cannot be one: place {place} is '{character}'."),
    [TR_FOUND_CODE_NOT_FOUND] =
        TR_N("Photo {photo} shows no bar code or QR code that can be read. Take it again from "
             "nearer, straight on, sharp and without glare, with the whole code and some blank "
             "about it in view."),
    [TR_FOUND_CODE_PHOTO_NOT_READ] = TR_N("No code was read from photo {photo}: {text}."),
    [TR_FOUND_LABEL_NOT_READ] =
        TR_N("The label of {sheet} was not read from any photo of 'codes', so nothing but its "
             "marks shows that it is this sheet. Take a photo of its bar code or QR code from "
             "near, and add it to 'codes'."),
    [TR_FOUND_LABEL_OF_UNUSED_SHEET] =
        TR_N("Photo {photo} shows the label {label} of {sheet}, which the layout does not ask "
             "for: is it the right sheet?"),

    /* ---- before measuring ---- */
    [TR_FOUND_PRECONDITION_MISSING] = TR_N(
        "The layout requires before measuring: '{text}' ({id}). The job does not say that this "
        "was so, and without it nothing passes. If it was so when the photos were taken, "
        "confirm it in the job; if not, see to it and take the photos again."),
    [TR_FOUND_PRECONDITION_NOT_DONE] =
        TR_N("The layout requires before measuring: '{text}' ({id}). By the job this was not done: "
             "'{reason}'. Without it nothing passes: see to it, take the photos again, and confirm "
             "it in the job."),

    /* ---- targets ---- */
    [TR_FOUND_SHEET_TURNED] =
        "{sheet} lies turned by {turn_deg:.0f}°: it is laid down with the wrong side forward. Its "
        "up direction must point the way that the layout says.",
    [TR_FOUND_SHEET_TURNED_ROUND] =
        "{sheet} lies turned by {turn_deg:.0f}°: it is laid down the wrong way round. Its up "
        "direction must point the way that the layout says.",
    [TR_FOUND_BOARD_FACES_AWAY] =
        "{sheet} stands turned by {turn_deg:.0f}° from where it should look: it was set up facing "
        "the wrong way. Turn it round and take the photos again.",
    [TR_FOUND_BOARD_UPSIDE_DOWN] =
        "{sheet} hangs turned by {turn_deg:.0f}° about its face: its top must be at the top. Hang "
        "it as its arrow UP says and take the photos again.",
    [TR_FOUND_SHEET_NOT_FLAT] =
        "{sheet} does not lie flat: its marks differ in height by {flatness_mm:.1f} mm "
        "(±{u95_mm:.1f}), but {limit_mm:.1f} mm is allowed; it is highest about {|x_mm|:.0f} mm to "
        "the {x_mm?right|left} of its centre and {|y_mm|:.0f} mm {y_mm?above|below} it. Flatten it "
        "and take the photos again.",
    [TR_FOUND_FLATNESS_UNDECIDED] =
        "{sheet} may be further out of flat than the {limit_mm:.1f} mm that are allowed: its marks "
        "differ in height by {flatness_mm:.1f} mm (±{u95_mm:.1f}). Flatten it, or take more photos "
        "nearer to it.",
    [TR_FOUND_FLATNESS_NOT_MEASURED] = "Whether {sheet} is flat could not be measured: too few of "
                                       "its marks were seen well enough. "
                                       "See to it that it is flat within {limit_mm:.1f} mm.",

    /* ---- targets without tags ---- */
    [TR_FOUND_TOO_FEW_POINTERS] =
        "{sheet}, which the layout requires, could not be measured: {pointers} of its pointers "
        "{pointers?was|were} measured, which does not tell where it is. Take two photos that show "
        "each pointer together with other sheets.",
    [TR_FOUND_POINTER_MISLAID] =
        "Pointer {pointer} lies {away_mm:.0f} mm from where the other pointers of {sheet} have the "
        "point '{point}'. Lay its tip at that point again, or correct the point's name in the job, "
        "and take the photos again.",
    [TR_FOUND_POINTERS_CONTRADICT] =
        "Pointers {pointer} and {other} are {apart_mm:.0f} mm nearer to each other or farther "
        "apart than the points '{point}' and '{other_point}' of {sheet}: one of them was not laid "
        "at its point. Lay both tips again, or correct the points' names in the job, and take the "
        "photos again.",
    [TR_FOUND_POINTER_NOT_AT_SHEET] =
        "Pointer {pointer} lies {away_mm:.0f} mm from the point '{point}' of {sheet}, as its "
        "printed pattern has it. Lay its tip at that point again, or correct the point's name in "
        "the job, and take the photos again.",
    [TR_FOUND_ARTWORK_OUT_OF_VIEW] =
        "{sheet} has no tags, and no photo shows enough of the place where it should be to find it "
        "by its printed pattern. Take two more photos that show all of it together with other "
        "sheets.",
    [TR_FOUND_ARTWORK_NOT_FOUND] =
        "{sheet} has no tags, and its printed pattern was not found within {within_mm:.0f} mm of "
        "its required place. Is it the right sheet, roughly in its place, and not covered? Move it "
        "there, or lay pointers at it, and take the photos again.",
    [TR_FOUND_ARTWORK_AMBIGUOUS] =
        "The printed pattern of {sheet} repeats itself, and the photos do not show which of its "
        "marks is which: it could be off by a whole step of the pattern. Take photos that show all "
        "edges of the pattern, or lay pointers at it.",
    [TR_FOUND_ARTWORK_BEYOND] =
        "The printed pattern of {sheet} was found farther than {within_mm:.0f} mm from its "
        "required place. Move it nearer and take the photos again.",
    [TR_FOUND_ARTWORK_LOOKS_TURNED] =
        "The printed pattern of {sheet} looks the same when it is turned by {is_square?a "
        "quarter|half a turn}: see for yourself that it lies the right way round, or lay "
        "pointers at it, which show that.",
    [TR_FOUND_ARTWORK_NOT_USED] =
        "The printed pattern of {sheet} was not seen well enough to measure it: its place is as "
        "its pointers have it. Photos that show all of the pattern would make it more certain.",
    [TR_FOUND_ARTWORK_NOT_AT_POINTERS] =
        "The printed pattern of {sheet} is not where its pointers have it: the pointers lie at "
        "other points than the job says, or it is another sheet. Lay them again and take the "
        "photos again.",
    /* ---- the floor ---- */
    [TR_FOUND_FLOOR_SLOPES] =
        "From where the wheels stand to {sheet} the floor {slope_deg?rises|falls} by "
        "{|slope_deg|:.2f}° (±{u95_deg:.2f}), {|rise_mm_per_m|:.1f} mm a metre, "
        "{is_beyond?beyond|which may be beyond} the {limit_deg:.2f}° that the layout allows. "
        "{is_beyond?Set up on a more even floor, or make up the height|Take more photos that show "
        "the sheets on the floor together, or set up on a more even floor}.",
    [TR_FOUND_FLOOR_TILTS] =
        "Under {sheet} the floor {slope_deg?rises|falls} towards the {is_along?front|vehicle's "
        "left} by {|slope_deg|:.2f}° (±{u95_deg:.2f}) against where the wheels stand, "
        "{is_beyond?beyond|which may be beyond} the {limit_deg:.2f}° that the layout allows. "
        "{is_beyond?Set up on a more even floor, or level the place|Take more photos of it from "
        "near by, or set up on a more even floor}.",
    [TR_FOUND_FLOOR_NOT_LEVEL] =
        "From where the wheels stand to {sheet} the floor {slope_deg?rises|falls} by "
        "{|slope_deg|:.2f}° (±{u95_deg:.2f}) against the horizontal, {|rise_mm_per_m|:.1f} mm a "
        "metre, {is_beyond?beyond|which may be beyond} the {limit_deg:.2f}° that the layout "
        "allows. {is_beyond?Set up on a level floor, or make up the height|Use a more accurate "
        "level, take more photos, or set up on a level floor}.",
    [TR_FOUND_STAND_NOT_LEVEL] =
        "Where the wheels stand the floor {slope_deg?rises|falls} towards the "
        "{is_along?front|vehicle's left} by {|slope_deg|:.2f}° (±{u95_deg:.2f}) against the "
        "horizontal, {is_beyond?beyond|which may be beyond} the {limit_deg:.2f}° that the layout "
        "allows. {is_beyond?Set up on a level floor|Use a more accurate level, or set up on a "
        "level floor}.",
    [TR_FOUND_FLOOR_OUT_OF_FLAT] =
        "{sheet} lies {|out_mm|:.1f} mm (±{u95_mm:.1f}) {out_mm?above|below} the best plane "
        "through all sheets on the floor, {is_beyond?beyond|which may be beyond} the "
        "{limit_mm:.1f} mm that the layout allows: {is_beyond?set up on a more even floor|take "
        "more photos that show the sheets on the floor together, or set up on a more even floor}.",
    [TR_FOUND_FLOOR_NOT_SEEN] =
        "The layout limits how the floor slopes to {sheet}, but no sheet lies on the floor there: "
        "lay a plate or mat within 1 m of the foot of its stand, add it to 'sheets' of the job and "
        "take photos that show it together with other sheets.",
    [TR_FOUND_STAND_NOT_SEEN] =
        "The layout limits the slope of the floor, but nothing tells how it lies where the wheels "
        "stand: mark all four wheels with plates or, with hub sheets, lay two sheets on the floor "
        "beside the vehicle.",
    [TR_FOUND_FLOOR_FEW_SHEETS] =
        "The layout limits how far places are out of flat, but only {sheets} {sheets?sheet|sheets} "
        "on the floor {sheets?was|were} measured, or all lie in a line: lay down four or more, "
        "spread over the floor.",
    [TR_FOUND_LEVEL_NOT_READ] =
        "The layout limits the slope of the floor against the horizontal, which photos do not "
        "tell: lay a level where the wheels stand or on a sheet on the floor, and enter what it "
        "reads under 'level' in the job, with 'on', 'along_deg', 'across_deg' and 'sd_deg'.",
    [TR_FOUND_LEVEL_SHEET_NOT_FOUND] =
        "The level was read on {sheet}, which could not be measured: take two photos that show it "
        "together with other sheets, or lay the level where the wheels stand.",

    /* ---- what was taken as exact, or is not known ---- */
    [TR_FOUND_LENS_WITHOUT_COVARIANCE] =
        "The lens profile '{lens}' has no covariance: it was taken as exact, and the uncertainties "
        "do not include its errors. Calibrate with 'trammel lens'.",
    [TR_FOUND_SHEET_TAKEN_AS_EXACT] =
        "The survey of {sheet} states variances of 0: places of its marks were taken as exact, and "
        "the uncertainties do not include their errors. Survey it with 'trammel survey'.",
    [TR_FOUND_PLATES_TAKEN_AS_EXACT] =
        "reference_sd_mm is 0: the plates were taken to sit exactly on their plumb marks, and the "
        "uncertainties do not include how far off they are. State one standard deviation; 1 mm is "
        "usual.",
    [TR_FOUND_HUBS_TAKEN_AS_EXACT] =
        "reference_sd_mm is 0: the sheets were taken to hang exactly on their wheels' axes, and "
        "the uncertainties do not include how far off they are. State one standard deviation; 1 mm "
        "is usual.",
    [TR_FOUND_HUBS_TAKEN_AS_SQUARE] =
        "hub_tilt_sd_deg is 0: the sheets were taken to hang exactly square to their wheels' axes, "
        "and the uncertainties do not include how far out of square they hang. State one standard "
        "deviation; 0.3° is usual.",
    [TR_FOUND_LENS_UNKNOWN] = "The lens is unknown: it was found from these photos alone, with a "
                              "focal length of {focal_px:.0f} px (±{u95_percent:.2f} %).",
    [TR_FOUND_PROFILE_GAINS_LITTLE] =
        "The lens is unknown: it was found from these photos alone, with a focal length of "
        "{focal_px:.0f} px (±{u95_percent:.2f} %). With a lens profile ('trammel lens') u95 of "
        "{sheet} would hardly be smaller.",
    [TR_FOUND_PROFILE_GAINS] =
        "The lens is unknown: it was found from these photos alone, with a focal length of "
        "{focal_px:.0f} px (±{u95_percent:.2f} %). With a lens profile ('trammel lens') u95 of "
        "{sheet} would be about {x_mm:.1f} mm in x, {y_mm:.1f} mm in y, {yaw_deg:.3f}° in yaw; now "
        "it is {now_x_mm:.1f} mm in x, {now_y_mm:.1f} mm in y, {now_yaw_deg:.3f}° in yaw.",

    /* ---- surveys ---- */
    [TR_FOUND_MARKS_NOT_MEASURED] =
        "On {sheet}, {~marks:8} {marks?was|were} measured in fewer than "
        "two photos, and {marks?is|are} left out of the new file: take "
        "more photos that show {marks?it|them} from different sides.",
    [TR_FOUND_MARK_UNCERTAIN] = "The place of {~mark} on {sheet} is known only to {u95_mm:.1f} mm: "
                                "take more photos that show it, from all sides and closer.",
    [TR_FOUND_MARK_AND_SCALE_UNCERTAIN] =
        "The place of {~mark} on {sheet} is known only to {u95_mm:.1f} mm: take more photos that "
        "show it, from all sides and closer, with a better known length in view.",
    [TR_FOUND_STUCK_TAG_SIZE] =
        "Tag {tag} of {sheet} is stated as {stated_mm:.4g} mm, but measures {measured_mm:.2f} mm: "
        "is it the print that was meant? The new file has the measured size.",
    [TR_FOUND_SURVEYED_SHEET_NOT_FLAT] =
        "{sheet} did not lie flat: its marks differ in height by {flatness_mm:.1f} mm "
        "(±{u95_mm:.1f}); it is highest about {|x_mm|:.0f} mm to the {x_mm?right|left} of its "
        "centre and {|y_mm|:.0f} mm {y_mm?above|below} it. Flatten it and survey it again: when it "
        "lies differently, its marks lie elsewhere.",
    [TR_FOUND_ALIGN_DOES_NOT_FIT] =
        "The marks named for the frame of {sheet} lie {rms_mm:.1f} mm (rms) from where its file "
        "has them, apart from the print's scale: is each the mark that it is taken for?",
    [TR_FOUND_BAR_NOT_USED] =
        "Bar {bar} gives no scale: its marks are not in two photos with marks of the sheet.",
    [TR_FOUND_RULE_NOT_USED] = "The rule of {sheet} along {axis} gives no scale: its marks are not "
                               "in two photos with marks of the sheet.",
    [TR_FOUND_SCALE_UNCERTAIN] =
        "The scale is known only to {u95_mm_per_m:.1f} mm in a metre: put a longer, better known "
        "length in view, such as a scale bar of a metre.",
    [TR_FOUND_ONE_LENGTH] = "Only one known length was in view, so an error in it cannot be seen. "
                            "Put a second one in view.",
    [TR_FOUND_SURVEY_FEW_PHOTOS] =
        "Only {photos} photos are used: take five or more, from all sides.",
    [TR_FOUND_MARKS_SCATTER] =
        "The marks fit worse than they should ({variance_factor:.1f} times in variance): was the "
        "sheet bent, or touched between the photos, or is the lens profile another camera's?",
    [TR_FOUND_SIGHTINGS_LEFT_OUT] =
        "{left_out} {left_out?sighting of a mark contradicts|sightings of marks contradict} the "
        "others and {left_out?was|were} left out.",

    /* ---- lens calibrations: photos ---- */
    [TR_FOUND_PHOTO_LEFT_OUT] = "'{photo}' was left out: {why}",
    [TR_FOUND_BOARD_PARTLY_HIDDEN] =
        "'{photo}': {missing} of the checkerboard's {all} corners could not be measured: {why}",
    [TR_FOUND_PHOTO_BLURRED] =
        "'{photo}' is less sharp than the others (edges {width_px:.1f} px wide, usual here "
        "{usual_px:.1f} px); hold still with your elbows rested, use more light, and take it again",
    [TR_FOUND_PHOTO_MISFIT] =
        "'{photo}' fits worse than the others ({rms_px:.2f} px rms); take it again with the "
        "checkerboard flat, camera and checkerboard still, and the zoom and focus as before",
    [TR_FOUND_CORNERS_OFF] = "'{photo}': {corners} of the corners {corners?is|are} off "
                             "{corners?its place|their places}, by up to {most_px:.1f} px; glare, "
                             "dirt or something covering the checkerboard does that",
    [TR_FOUND_PHOTOS_ALIKE] = "'{photo}' shows nearly the same view as '{other}' and adds little; "
                              "take each photo from another side",
    [TR_FOUND_CALIBRATION_FEW_PHOTOS] =
        "only {photos} photos are used; 10 to 15 from different sides make the lens profile more "
        "certain, and show mistakes",
    [TR_FOUND_PART_NOT_COVERED] =
        "no photo has corners of the checkerboard in these parts of the image: {~places:9}; take "
        "one or two photos with the checkerboard there, close to the edge",
    [TR_FOUND_EDGES_NOT_TOLD] =
        "too few corners lie near the image's edges to tell the distortion there: k3 was held at "
        "0, and the lens may be off where no photo has the checkerboard; take photos with the "
        "checkerboard in each corner of the image",
    [TR_FOUND_FEW_TILTED] = "the checkerboard is tilted by more than {least_deg:.0f} degrees in "
                            "only {tilted} of {photos} photos; tilt it in at least {wanted}: to "
                            "the left, to the right, forward and back",
    [TR_FOUND_TILT_MISSING] = "no photo has the checkerboard tilted so that its {~edges:or} edge, "
                              "as seen in the photo, is the nearest; add such views",
    [TR_FOUND_QUARTER_TURN] =
        "turn the camera by a quarter in two or three of the photos: this tells a print that is "
        "longer one way apart from the lens, and makes the focal length more certain",

    /* ---- the camera ---- */
    [TR_FOUND_CALIBRATION_FITS_POORLY] =
        "the photos differ by more than a hand that moves, a lens that shifts and an uneven print "
        "explain, and the lens is worse than its standard deviations say: does the checkerboard "
        "bend from photo to photo, do the photos show different checkerboards, or were some "
        "edited? Use photos of one stiff checkerboard, as the camera stored them",
    [TR_FOUND_NOT_AS_STEADY] =
        "in most photos neighbouring corners are off their places together ({rms_px:.2f} px rms in "
        "all), and the lens is worse than its standard deviations say: the camera is not as steady "
        "as --steady says, the checkerboard bends, or the photos show different checkerboards",
    [TR_FOUND_LENS_SHIFTS] =
        "the optical axis shifts by about {shift_px:.0f} px from photo to photo, as with a "
        "stabilised lens, or with photos that an app turned or cropped; this is taken into "
        "account, here and in checks, but use photos as the camera stored them, and switch "
        "stabilisation off where that can be done",
    [TR_FOUND_FOCAL_CHANGES] = "the focal length changes by about {change_percent:.1f} % from "
                               "photo to photo: lock the focus, keep the same distance to the "
                               "checkerboard, and use a checkerboard that does not bend",
    [TR_FOUND_HAND_MOVES] =
        "the camera moved while the photos were read out, by about {moved_px:.0f} px in the "
        "picture; this is taken into account, but hold still, rest your elbows, use more light, "
        "and switch burst and night modes off",
    [TR_FOUND_FOCAL_UNCERTAIN] =
        "the focal length is known only to {sd_percent:.2f} % (one standard deviation), which "
        "makes every distance uncertain by as much; take more photos in which the checkerboard "
        "fills the image and is tilted by 30 degrees and more",
    [TR_FOUND_FOCAL_UNEQUAL] =
        "fx and fy differ by {difference_percent:.2f} %, but pixels are square: use photos as the "
        "camera stored them, neither edited nor cropped, and measure the print along both edges",

    /* ---- the board ---- */
    [TR_FOUND_BOARD_STRETCHED] =
        "the print is {|stretch_percent|:.2f} % {stretch_percent?longer|shorter} along its "
        "{squares_x} squares than along its {squares_y}; this is taken into account, but measure "
        "it along both edges and print it again",
    [TR_FOUND_BOARD_UNEVEN] =
        "the corners of the checkerboard are off their places, alike in all photos, by about "
        "{along_mm:.2s} mm along it and {out_mm:.2s} mm out of it; this is taken into account, but "
        "a truer print, glued to glass or another stiff, flat plate, gives a better profile",
    [TR_FOUND_BOARD_UNEVEN_ALONG] =
        "the corners of the checkerboard are off their places, alike in all photos, by about "
        "{along_mm:.2s} mm along it; this is taken into account, but a truer print, glued to glass "
        "or another stiff, flat plate, gives a better profile",
    [TR_FOUND_BOARD_UNEVEN_OUT] =
        "the corners of the checkerboard are off their places, alike in all photos, by about "
        "{out_mm:.2s} mm out of it; this is taken into account, but a truer print, glued to glass "
        "or another stiff, flat plate, gives a better profile",
    [TR_FOUND_BOARD_BOWED] =
        "the checkerboard is bowed by {|bow_mm|:.1f} mm {is_along?along|across}; this is taken "
        "into account, but a print glued to a flat plate gives a better lens profile",
    [TR_FOUND_BOARD_SQUARE] =
        "a checkerboard with as many squares along as across does not tell which way it lies, and "
        "so its bow cannot be found; take one with unequal numbers",
    [TR_FOUND_MEASURE_BOARD] =
        "photos cannot tell whether the print is true: measure with a steel rule that {squares_x} "
        "squares are {width_mm:.1f} mm one way and {squares_y} squares {height_mm:.1f} mm the "
        "other",

    /* ---- lens re-checks ---- */
    [TR_FOUND_RECHECK_FOCAL_DIFFERS] = TR_N(
        "The focal length is {change_percent:+.2f} % off that of lens profile '{lens}', which is "
        "{deviations:.1f} standard deviations. Was the zoom, the focus or the resolution another, "
        "or has the camera been dropped or repaired? If the photos were taken as for the "
        "calibration, calibrate again with trammel lens, and use the profile no longer."),
    [TR_FOUND_RECHECK_LENS_DIFFERS] = TR_N(
        "Principal point and distortion are not those of lens profile '{lens}'. Was it another "
        "lens of the phone, or were the photos cropped or edited? If the photos were taken as for "
        "the calibration, calibrate again with trammel lens, and use the profile no longer."),
    [TR_FOUND_RECHECK_FEW_PHOTOS] = TR_N(
        "Only {photos} {photos?photo|photos} could be used, too few to confirm a lens: take at "
        "least {wanted}, the checkerboard tilted by 30 to 45 degrees to a different side in each."),
    [TR_FOUND_RECHECK_FOCAL_UNCERTAIN] =
        TR_N("These photos and the profile tell the focal length to {sd_percent:.2f} % (one "
             "standard deviation), which would not always show that it is {wanted_percent:.0f} % "
             "off. Take more photos, in which the checkerboard fills most of the image and is "
             "tilted by 30 to 45 degrees to different sides."),
    [TR_FOUND_LENS_UNCONFIRMED] = TR_N(
        "Lens profile '{lens}' was last confirmed {hours:.0f} hours ago; the shop asks for "
        "{wanted_hours:.0f}: take three photos of the checkerboard and run trammel lens-check."),
    [TR_FOUND_LENS_NEVER_CONFIRMED] =
        TR_N("No record tells when lens profile '{lens}' was confirmed; the shop asks for it every "
             "{wanted_hours:.0f} hours: take three photos of the checkerboard and run trammel "
             "lens-check."),
    [TR_FOUND_LENS_DIFFERS] = TR_N(
        "The last lens-check, {hours:.0f} hours ago, found that lens profile '{lens}' no longer "
        "fits "
        "its camera, so nothing can pass: calibrate anew with 'trammel lens' or, if that check's "
        "photos were bad, repeat it."),
    [TR_FOUND_LENS_CONFIRMATION_DEMANDED] =
        TR_N("Lens profile '{lens}' was last confirmed {hours:.0f} hours ago, and the shop demands "
             "it every {wanted_hours:.0f}, so nothing can pass: take three photos of the "
             "checkerboard, run trammel lens-check, and check again."),
    [TR_FOUND_LENS_NEVER_CONFIRMED_DEMANDED] =
        TR_N("No record tells when lens profile '{lens}' was confirmed, and the shop demands it "
             "every {wanted_hours:.0f} hours, so nothing can pass: take three photos of the "
             "checkerboard, run trammel lens-check, and check again."),

    /* ---- prints ---- */
    [TR_FOUND_NO_ROOM_PLUMB_MARK] = "there is no room for a plumb mark near the middle of an edge",
    [TR_FOUND_NO_ROOM_TIP] = "there is no room for the tip where the sheet file has it",
    [TR_FOUND_NO_ROOM_FOOT_MARK] =
        "there is no room for the mark of the stand's foot at the middle of the lower edge",
    [TR_FOUND_NO_ROOM_RULE_ACROSS] = "there is no room for the 100 mm rule across",
    [TR_FOUND_NO_ROOM_UPRIGHT_RULE] = "there is no room for the upright 100 mm rule",
    [TR_FOUND_NO_ROOM_SHEET_ID] = "there is no room for the sheet's id",
    [TR_FOUND_NO_ROOM_UP_ARROW] = "there is no room for the up arrow",
    [TR_FOUND_NO_ROOM_NOTE] = "there is no room for the note on how to print and check it",

    /* ---- reasons: why a photo is not used ---- */
    [TR_FOUND_SAID] = "{~text}",
    [TR_FOUND_BESIDE_LIST] =
        "does not exist in the current folder, from which photos on the command line are sought; "
        "it lies beside the {list} file",
    [TR_FOUND_FITS_NO_FILE] = "no file fits {pattern}; cameras also write .JPG and .HEIC",
    [TR_FOUND_SAME_PHOTO] = "it is the same photo as {other}",
    [TR_FOUND_IS_MIRRORED] = "it is mirrored left to right",
    [TR_FOUND_SHOWS_NO_MARK] = "no mark of this job's sheets was found in it",
    [TR_FOUND_SHOWS_NO_MARK_OF_SURVEY] = "no mark of this survey was found in it",
    [TR_FOUND_MARKS_DO_NOT_TIE] = "its marks do not tie it to the other photos",
    [TR_FOUND_TAKEN_OTHERWISE] =
        "it was taken {camera}, but the lens profile's photos {profile_camera}; use the camera, "
        "focal length and zoom of the calibration",
    [TR_FOUND_SIZE_OTHER] =
        "it has {width_px} x {height_px} pixels, but the lens profile is for {profile_width_px} x "
        "{profile_height_px}; use the same camera, zoom and image size as in the calibration",
    [TR_FOUND_SIZE_TURNED] =
        "it has {width_px} x {height_px} pixels, but the lens profile is for {profile_width_px} x "
        "{profile_height_px}; use the photo as the camera stored it, not turned",
    [TR_FOUND_SIZE_CHANGED] =
        "it has {width_px} x {height_px} pixels, but the lens profile is for {profile_width_px} x "
        "{profile_height_px}; use the photo as the camera stored it, not made smaller or cut",
    [TR_FOUND_SIZE_LOOKS] = "it has {width_px} x {height_px} pixels, but the lens profile is for "
                            "{profile_width_px} x {profile_height_px}: it {looks}",
    [TR_FOUND_NO_PROFILE] =
        "none of the job's lens profiles fits it ({width_px} x {height_px} pixels); add the "
        "profile of its camera at this zoom and image size to 'lens', or take it with one of the "
        "others",
    [TR_FOUND_NO_PROFILE_OF_CAMERA] =
        "none of the job's lens profiles fits it ({width_px} x {height_px} pixels, taken with "
        "{camera}); add the profile of its camera at this zoom and image size to 'lens', or take "
        "it with one of the others",
    [TR_FOUND_NO_PROFILE_LOOKS] = "it has {width_px} x {height_px} pixels, as none of the job's "
                                  "lens profiles: it {looks}",
    [TR_FOUND_TWO_PROFILES] =
        "it fits lens profile '{lens}' as well as '{other_lens}'; say in the job which it is, "
        "under 'photos': {{ file: {photo}, lens: ... }",
    [TR_FOUND_SIZES_DIFFER] =
        "it has {width_px} x {height_px} pixels, but {usual} has {usual_width_px} x "
        "{usual_height_px}, and photos of an unknown lens must be of one size; use the same "
        "camera, zoom and image size for all",
    [TR_FOUND_SIZES_DIFFER_TURNED] =
        "it has {width_px} x {height_px} pixels, but {usual} has {usual_width_px} x "
        "{usual_height_px}, and photos of an unknown lens must be of one size; use the photo as "
        "the camera stored it, not turned",
    [TR_FOUND_LOOKS] = "it {looks}",

    /* of photos of a board */
    [TR_FOUND_NO_BOARD] =
        "no checkerboard with {squares_x} x {squares_y} squares was found; the whole checkerboard "
        "must be in the photo, uncovered, evenly lit and sharp (squares are counted, not corners)",
    [TR_FOUND_NO_BOARD_LOOKS] = "no checkerboard was found in it, and it {looks}",
    [TR_FOUND_FEW_CORNERS] = "only {measured} of the checkerboard's {all} corners could be "
                             "measured; of the others {others}",
    [TR_FOUND_SAME_FILE] = "it is the same file as '{other}'",
    [TR_FOUND_FITS_WORSE] =
        "it does not fit the other photos: its corners lie some {times:.1f} times further off; was "
        "the checkerboard bent or moving, or the zoom another?",
    [TR_FOUND_FOCAL_IS_OTHER] = "its focal length is another than the other photos', by some "
                                "{off_percent:.1f} %; was the zoom or the focus another?",
    [TR_FOUND_AXIS_IS_ELSEWHERE] = "its optical axis is elsewhere than in the other photos, by "
                                   "some {off_px:.0f} px; was it cropped or turned by an app?",

    /* why corners of a board were not measured */
    [TR_FOUND_BOTH_REASONS] = "{first}, {second}",
    [TR_FOUND_CORNERS_OFF_IMAGE] = "{corners} {corners?is|are} too close to the photo's "
                                   "edge{is_most?; leave some room about the checkerboard|}",
    [TR_FOUND_CORNERS_SMALL] = "{corners} {corners?is|are} too small{is_most?; step closer|}",
    [TR_FOUND_CORNERS_FAINT] =
        "{corners} {corners?is|are} too faint{is_most?; give the checkerboard more even light|}",
    [TR_FOUND_CORNERS_COVERED] = "{corners} {corners?is|are} covered or in glare{is_most?; let "
                                 "nothing cover the checkerboard, and avoid glare|}",
    [TR_FOUND_CORNERS_BLURRED] =
        "{corners} {corners?is|are} blurred{is_most?; hold still with your elbows rested, use more "
        "light, and switch burst and night modes off|}",
    [TR_FOUND_CORNERS_UNLIKE] =
        "{corners} {corners?is|are} not as squares meet{is_most?; let nothing cover the "
        "checkerboard, avoid glare, and see that the print is clean where squares meet|}",
    [TR_FOUND_CORNERS_UNSETTLED] = "{corners} {corners?is|are} not to be settled"
                                   "{is_most?; take the photo again, sharp and evenly lit|}",

    /* ---- how photos were taken, behind "was taken" ---- */
    [TR_FOUND_WITH_CAMERA] = "with {camera}",
    [TR_FOUND_AT_DIGITAL_ZOOM] = "at digital zoom {zoom:.4g}",
    [TR_FOUND_AT_FOCAL_LENGTH] = "at a focal length of {focal_mm:.4g} mm",
    [TR_FOUND_AT_EQUIVALENT_FOCAL_LENGTH] = "at a focal length equivalent to {focal_mm:.4g} mm",
    [TR_FOUND_WITH_CAMERA_LENS] = "with lens {lens}",

    /* ---- what a picture looks like, behind "it" ---- */
    [TR_FOUND_LOOKS_PANORAMA] = "looks like a panorama or a stitched picture; take single photos",
    [TR_FOUND_LOOKS_SCREENSHOT] =
        "looks like a screenshot; use the photo itself, as the camera stored it",
    [TR_FOUND_LOOKS_CUT] = "was cut after it was taken; use the photo as the camera stored it",
    [TR_FOUND_LOOKS_SHRUNK] =
        "was made smaller after it was taken; use the photo as the camera stored it",
    [TR_FOUND_LOOKS_COPY] = "looks like a messenger's small copy; use the camera's own file, sent "
                            "as a file or by cable",
};

/* Where blur is the cause. */
#define HOLD_STILL "hold still, rest your elbows, add light, switch burst and night modes off"

static const char *const FLAWS[TR_N_FLAWS] = {
    [TR_FLAW_NONE] = "",
    [TR_FLAW_MIRRORED] = "mirrored left to right; turn mirroring off",
    [TR_FLAW_NO_MARK] = "no mark of this job's sheets can be made out",
    [TR_FLAW_TAGS_CUT] = "its tags reach over the photo's edge; bring whole tags into view",
    [TR_FLAW_TAGS_SMALL] = "its tags are too small; step closer",
    [TR_FLAW_TAGS_FAINT] = "its tags are dark or washed out; give them more even light",
    [TR_FLAW_TAGS_BLURRED] = ("its tags are blurred; " HOLD_STILL),
    [TR_FLAW_TAGS_COVERED] =
        "its tags are partly covered or in glare; uncover them, change your place",
    [TR_FLAW_TAGS_UNSETTLED] = "no place of its tags could be settled; take it again, evenly lit",
    [TR_FLAW_BLURRED] = ("blurred; " HOLD_STILL),
    [TR_FLAW_DIM] = "dark or washed out; give it more even light",
    [TR_FLAW_OVEREXPOSED] = "overexposed; turn the light or the exposure down",
    [TR_FLAW_FAR] = "too far away; step closer",
    [TR_FLAW_FLAT_VIEW] = "too flat a view; hold the camera higher",
    [TR_FLAW_FEW_MARKS] = "few marks; bring more of the sheets into view",
};

const char *tr_photo_flaw_text(tr_photo_flaw flaw) {
    return tr_translated(FLAWS[flaw]);
}

tr_photo_flaw tr_photo_flaw_of(const char *text) {
    for (tr_photo_flaw flaw = TR_FLAW_NONE; flaw < TR_N_FLAWS; flaw++) {
        if (strcmp(FLAWS[flaw], text) == 0) return flaw;
    }
    return TR_FLAW_NONE;
}

const char *tr_finding_message(tr_finding_kind kind) {
    return MESSAGES[kind];
}

/* ---- filling in ---- */

typedef struct {
    char *text; /* TR_FINDING_TEXT_SIZE */
    size_t n;
} line;

static void append(line *l, const char *text, size_t n) {
    size_t room = TR_FINDING_TEXT_SIZE - 1 - l->n;
    if (n > room) n = room;
    memcpy(l->text + l->n, text, n);
    l->n += n;
    l->text[l->n] = 0;
}

static void append_number(line *l, double number, int precision, const char *flags,
                          char conversion) {
    char text[64];
    const bool has_plus = strchr(flags, '+');
    if (conversion == 'g') {
        snprintf(text, sizeof text, has_plus ? "%+.*g" : "%.*g", precision, number);
    } else {
        snprintf(text, sizeof text, has_plus ? "%+.*f" : "%.*f", precision, number);
    }
    append(l, text, strlen(text));
}

/* Decimals with which a number above 0 has so many digits. */
static int decimals_of(double number, int digits) {
    int decimals = number > 0 ? digits - 1 - (int)floor(log10(number)) : 0;
    return decimals > 0 ? decimals : 0;
}

/* how: ".1f", "+.1f", ".3g", ".2s" */
static bool fill_number(line *l, double number, const char *how, size_t n) {
    char flags[8] = "";
    size_t n_flags = n > 0 && *how == '+';
    if (n != n_flags + 3 || how[n_flags] != '.' || !strchr("0123456789", how[n_flags + 1]) ||
        !strchr("fgs", how[n_flags + 2])) {
        return false;
    }
    memcpy(flags, how, n_flags);
    int precision = how[n_flags + 1] - '0';
    char conversion = how[n_flags + 2];
    if (conversion == 's') precision = decimals_of(number, precision);
    append_number(l, number, precision, flags, conversion);
    return true;
}

static int count_items(const char *list) {
    int n = 1;
    for (const char *c = list; *c; c++) n += *c == '\n';
    return n;
}

/* A text or an item of a list: is_word of the program's own, which is translated. */
static void append_item(line *l, const char *text, size_t n, bool is_word) {
    char english[512], translated[TR_FINDING_TEXT_SIZE];
    if (!is_word || n >= sizeof english) {
        append(l, text, n);
        return;
    }
    memcpy(english, text, n);
    english[n] = 0;
    tr_message_translated(tr_point_title(english), translated, sizeof translated);
    append(l, translated, strlen(translated));
}

/* how: "", "8", "or" */
static bool fill_list(line *l, const char *list, bool is_word, const char *how, size_t n_how) {
    bool is_or = n_how == 2 && strncmp(how, "or", 2) == 0;
    bool has_most = n_how == 1 && strchr("23456789", *how);
    if (n_how > 0 && !is_or && !has_most) return false;
    int n = count_items(list);
    int most = has_most ? *how - '0' : USUAL_ITEMS;
    int n_named = n > most ? most - 1 : n;
    for (int i = 0; i < n_named; i++) {
        size_t length = strcspn(list, "\n");
        const char *joint = i == 0 ? "" : i + 1 < n ? ", " : is_or ? TR_(" or ") : TR_(" and ");
        append(l, joint, strlen(joint));
        append_item(l, list, length, is_word);
        list += length + 1;
    }
    if (n_named < n) {
        char more[64];
        snprintf(more, sizeof more, TR_(" and %d more"), n - n_named);
        append(l, more, strlen(more));
    }
    return true;
}

/* which: "one|other" */
static bool fill_choice(line *l, const tr_argument *a, const char *which, size_t n) {
    const char *bar = memchr(which, '|', n);
    bool is_first = false;
    if (!bar) return false;
    switch (a->type) {
    case TR_ARGUMENT_NUMBER: is_first = a->number > 0; break;
    case TR_ARGUMENT_INTEGER: is_first = a->number == 1; break;
    case TR_ARGUMENT_LIST: is_first = count_items(a->text) == 1; break;
    case TR_ARGUMENT_TEXT:
    case TR_ARGUMENT_PART: return false;
    }
    if (is_first)
        append(l, which, (size_t)(bar - which));
    else
        append(l, bar + 1, n - (size_t)(bar + 1 - which));
    return true;
}

static const tr_argument *find(const tr_finding *f, const char *name, size_t n) {
    for (int i = 0; i < TR_MAX_ARGUMENTS; i++) {
        const tr_argument *a = &f->arguments[i];
        if (strlen(a->name) == n && n > 0 && memcmp(a->name, name, n) == 0) return a;
    }
    return NULL;
}

static bool fill_part(line *l, const tr_finding *part) {
    char text[TR_FINDING_TEXT_SIZE] = "";
    bool ok = !part || tr_finding_fill_in(tr_translated(MESSAGES[part->kind]), part, text);
    append(l, text, strlen(text));
    return ok;
}

/* flag: '|' a magnitude, '~' words of the program's own, 0 neither. */
static bool fill_value(line *l, const tr_argument *a, char flag, const char *how, size_t n) {
    const bool is_magnitude = flag == '|';
    const bool is_word = flag == '~';
    char integer[32];
    switch (a->type) {
    case TR_ARGUMENT_NUMBER:
        return !is_word && fill_number(l, is_magnitude ? fabs(a->number) : a->number, how, n);
    case TR_ARGUMENT_LIST: return !is_magnitude && fill_list(l, a->text, is_word, how, n);
    case TR_ARGUMENT_INTEGER:
        snprintf(integer, sizeof integer, "%.0f", a->number);
        append(l, integer, strlen(integer));
        return flag == 0 && n == 0;
    case TR_ARGUMENT_TEXT:
        append_item(l, a->text, strlen(a->text), is_word);
        return !is_magnitude && n == 0;
    case TR_ARGUMENT_PART: return flag == 0 && n == 0 && fill_part(l, a->part);
    }
    return false;
}

/* What stands between the braces. */
static bool fill_placeholder(line *l, const tr_finding *f, const char *at, size_t n) {
    bool is_magnitude = n > 0 && *at == '|';
    bool is_word = n > 0 && *at == '~';
    const char *name = at + (is_magnitude || is_word);
    const char *end = at + n;
    const char *name_end = name + strcspn(name, "|:?}");
    const tr_argument *a = find(f, name, (size_t)(name_end - name));
    if (!a) return false;
    const char *how = name_end;
    if (is_magnitude && *how++ != '|') return false;
    if (how < end && *how == '?') {
        return name == at && fill_choice(l, a, how + 1, (size_t)(end - how - 1));
    }
    if (how < end && *how++ != ':') return false;
    char flag = '\0';
    if (name != at) flag = *at;
    return fill_value(l, a, flag, how, (size_t)(end - how));
}

bool tr_finding_fill_in(const char *message, const tr_finding *finding,
                        char out[TR_FINDING_TEXT_SIZE]) {
    line l = {.text = out};
    out[0] = 0;
    while (*message) {
        size_t n = strcspn(message, "{");
        append(&l, message, n);
        message += n;
        if (!*message) break;
        if (*++message == '{') {
            append(&l, message++, 1);
            continue;
        }
        const char *end = strchr(message, '}');
        if (!end || !fill_placeholder(&l, finding, message, (size_t)(end - message))) return false;
        message = end + 1;
    }
    return true;
}

void tr_reason_text(const tr_finding *reason, char out[TR_FINDING_TEXT_SIZE]) {
    line l = {.text = out};
    out[0] = 0;
    /* The tests see that every message can be filled in. */
    (void)fill_part(&l, reason);
}

void tr_finding_text(const tr_finding *finding, char out[TR_FINDING_TEXT_SIZE]) {
    char text[TR_FINDING_TEXT_SIZE];
    bool ok = tr_finding_fill_in(tr_translated(MESSAGES[finding->kind]), finding, text);
    /* The tests see that every message can be filled in. */
    if (!ok) snprintf(text, sizeof text, "%s", tr_finding_code(finding->kind));
    tr_text_show(text, strlen(text), out, TR_FINDING_TEXT_SIZE);
}
