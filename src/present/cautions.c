#include "present/cautions.h"

#include "base/language.h"

const char *tr_cautions(void) {
    return TR_("Placement is one condition of a sensor calibration among many. The vehicle maker's "
               "service information governs; it takes precedence over this program. A pass here "
               "says only that the sheet lies within its limits, not that the vehicle's sensors "
               "are calibrated or safe. Follow local rules, let qualified people do the work and "
               "the road test, chock the wheels, keep people clear of a running vehicle.");
}

const char *tr_cautions_short(void) {
    return TR_("A pass says only that the sheet lies within its limits, not that the vehicle's "
               "sensors are calibrated or safe. The vehicle maker's service information governs. "
               "Chock the wheels.");
}
