#include "verdict/verdict.h"

#include "geom/geom.h"

const char *tr_verdict_name(tr_verdict verdict) {
    switch (verdict) {
    case TR_PASS: return "pass";
    case TR_FAIL: return "fail";
    case TR_INCONCLUSIVE: break;
    }
    return "inconclusive";
}

tr_verdict tr_verdict_decide(double error, double u95, double limit) {
    if (!isfinite(error) || !isfinite(u95) || !isfinite(limit) || u95 < 0) return TR_INCONCLUSIVE;
    if (fabs(error) + u95 <= limit) return TR_PASS;
    if (fabs(error) - u95 > limit) return TR_FAIL;
    return TR_INCONCLUSIVE;
}

tr_verdict tr_verdict_join(tr_verdict a, tr_verdict b) {
    if (a == TR_FAIL || b == TR_FAIL) return TR_FAIL;
    if (a == TR_INCONCLUSIVE || b == TR_INCONCLUSIVE) return TR_INCONCLUSIVE;
    return TR_PASS;
}
