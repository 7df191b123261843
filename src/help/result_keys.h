/* Keys that the results of several commands share. Private to help. */
#ifndef TR_HELP_RESULT_KEYS_H
#define TR_HELP_RESULT_KEYS_H

/* clang-format off */
#define TR_HELP_KEYS_OF_ERROR \
    {"error.file", NULL, NULL, "the file at fault, or null"}, \
    {"error.line", NULL, NULL, "its line, from 1, or null"}, \
    {"error.key", NULL, NULL, "the path of keys to the value at fault, or null"}, \
    {"error.text", NULL, NULL, "what is wrong, then what to do"}

#define TR_HELP_KEYS_OF_PHOTO \
    {"photos", NULL, NULL, "all photos, in the order given"}, \
    {"photos[].file", NULL, NULL, "as it was named"}, \
    {"photos[].sha256", NULL, NULL, \
     "of the file's bytes, in hexadecimal; null if unreadable"}, \
    {"photos[].used", NULL, NULL, "whether it takes part"}, \
    {"photos[].marks", NULL, NULL, "how many of its marks take part"}, \
    {"photos[].rms_px", "pixels", NULL, \
     "distance of its marks from where the result puts them, root of the mean square; null " \
     "if it is not used"}, \
    {"photos[].camera", NULL, NULL, "the camera as EXIF data name it, or null"}, \
    {"photos[].taken", NULL, NULL, "date and time as EXIF data give them, or null"}, \
    {"photos[].quality", NULL, NULL, "how good it is"}, \
    {"photos[].quality.grade", NULL, NULL, "`good`, `weak` or `unusable`"}, \
    {"photos[].quality.reason", NULL, NULL, "what is weak, and what to do, or null"}, \
    {"photos[].quality.sharpness_px", "pixels", NULL, \
     "median blur of its marks: one standard deviation"}, \
    {"photos[].quality.contrast", "grey values", NULL, "median step from black to white"}, \
    {"photos[].quality.overexposed", "1", NULL, \
     "part of the pixels on and around tags that are at the end of the scale"}, \
    {"photos[].quality.tag_px", "pixels", NULL, "median edge of its tags"}, \
    {"photos[].quality.cell_px", "pixels", NULL, \
     "shortest side of a cell of the median tag"}, \
    {"photos[].quality.elevation_deg", "degrees", NULL, \
     "angle at which the line of sight meets the floor; 90 is from straight above"}, \
    {"photos[].lens", NULL, NULL, \
     "only where there are several lens profiles: name of the one that it is measured with, " \
     "or null"}, \
    {"photos[].reason", NULL, NULL, "only where the photo is not used: why"}, \
    {"photos[].why", NULL, NULL, \
     "the same as data: `variant`, `arguments` and `parts`, as of a warning"}

#define TR_HELP_KEYS_OF_WARNING \
    {"warnings", NULL, NULL, "what does not fit, and what to know"}, \
    {"warnings[].code", NULL, NULL, "one word for programs; it does not change"}, \
    {"warnings[].text", NULL, NULL, "one or more sentences for people"}, \
    {"warnings[].blocks_pass", NULL, NULL, "whether it rules out a pass"}, \
    {"warnings[].variant", NULL, NULL, "which sentence of its code it is"}, \
    {"warnings[].arguments", NULL, NULL, "what stands in the sentence, by name"}, \
    {"warnings[].arguments.NAME", "of NAME", NULL, \
     "a text, a list of texts, or a number in the unit at the end of its name"}, \
    {"warnings[].parts", NULL, NULL, \
     "only where an argument is a sentence of its own: by its name which one, with `variant`, " \
     "`arguments` and `parts`, as of a warning"}

#define TR_HELP_KEYS_OF_FIT \
    {"left_out", NULL, NULL, "marks in photos that contradict the others and take no part"}, \
    {"variance_factor", "1", NULL, \
     "squares of residuals over their variances, per degree of freedom, of all marks that " \
     "were found; about 1 where stated uncertainties are right"}, \
    {"degrees_of_freedom", NULL, NULL, "observations less unknowns"}

#define TR_HELP_KEYS_OF_BUDGET \
    {"targets[].AXIS.budget", NULL, NULL, \
     "what u95 consists of; the squares of the parts add up to its square"}, \
    {"targets[].AXIS.budget.marks", "of AXIS", NULL, "noise of the marks"}, \
    {"targets[].AXIS.budget.lens", "of AXIS", NULL, \
     "the lens, and what the camera changes"}, \
    {"targets[].AXIS.budget.plates", "of AXIS", NULL, "how the plates lie on their points"}, \
    {"targets[].AXIS.budget.sheets", "of AXIS", NULL, \
     "sizes of the sheets, and places of their marks"}, \
    {"targets[].AXIS.budget.pointers", "of AXIS", NULL, \
     "how the tips of pointers lie at their points"}

#define TR_HELP_KEYS_OF_PROGRAM \
    {"program", NULL, NULL, "what made the result"}, \
    {"program.name", NULL, NULL, "`trammel`"}, \
    {"program.version", NULL, NULL, "its version"}

/* clang-format on */

#endif
