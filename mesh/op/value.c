#include "op/value.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "op/number.h"
#include "op/words.h"

static bool wrong(char why[WHY_SIZE], const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static bool wrong(char why[WHY_SIZE], const char *format, ...)
{
    va_list list;
    va_start(list, format);
    vsnprintf(why, WHY_SIZE, format, list);
    va_end(list);
    return false;
}

static bool made_of_numbers(enum param_kind kind)
{
    return kind == PARAM_COUNT || kind == PARAM_NUMBER || kind == PARAM_LENGTH ||
           kind == PARAM_ANGLE || kind == PARAM_SHARE || kind == PARAM_SIZE || kind == PARAM_VEC ||
           kind == PARAM_PLACE || kind == PARAM_DIRECTION || kind == PARAM_BOX;
}

bool value_is_absent_word(const struct param *param, const char *text)
{
    return made_of_numbers(param->kind) && param->standard &&
           isalpha((unsigned char)param->standard[0]) && param->standard[1] &&
           strcmp(param->standard, text) == 0;
}

/* --- reading -------------------------------------------------------------------------------- */

/* A length up to its end or a comma; how much it took, 0: not one. */
static size_t length_read(const char *text, double *out)
{
    size_t n = number_read(text, 0, out), letters = 0;
    if (n == 0)
        return 0;
    while (isalpha((unsigned char)text[n + letters]))
        letters++;
    if (letters) {
        enum unit unit = unit_named(text + n, letters);
        if (unit == UNIT_NONE)
            return 0;
        *out *= unit_millimetres(unit);
    }
    return isfinite(*out) ? n + letters : 0;
}

static bool whole(const char *text, size_t n)
{
    return n > 0 && text[n] == '\0';
}

static bool share_read(const char *text, double *out)
{
    size_t n = number_read(text, -2, out);
    return n > 0 && strcmp(text + n, "%") == 0;
}

static bool count_read(const char *text, double *out)
{
    size_t n = number_read(text, 0, out);
    return whole(text, n) && *out == floor(*out) && fabs(*out) <= 9007199254740992.0;
}

static bool angle_read(const char *text, double *out)
{
    size_t n = number_read(text, 0, out);
    return n > 0 && (text[n] == '\0' || strcmp(text + n, "deg") == 0);
}

static bool vec_read(const char *text, double out[3], bool lengths)
{
    for (int k = 0; k < 3; k++) {
        size_t n = lengths ? length_read(text, &out[k]) : number_read(text, 0, &out[k]);
        if (n == 0 || text[n] != (k < 2 ? ',' : '\0'))
            return false;
        text += n + 1;
    }
    return true;
}

/* Three lengths with an x between them; a unit is one of letters other than x. */
static bool box_read(const char *text, double out[3])
{
    for (int k = 0; k < 3; k++) {
        char side[NUMBER_SIZE];
        size_t n = strcspn(text, "x");
        if (n >= sizeof side || text[n] != (k < 2 ? 'x' : '\0'))
            return false;
        memcpy(side, text, n);
        side[n] = '\0';
        if (!whole(side, length_read(side, &out[k])))
            return false;
        text += n + 1;
    }
    return true;
}

/* Three lengths up to a character that must follow; where it stands, or NULL. */
static const char *point_read(const char *text, char after, double out[3])
{
    for (int k = 0; k < 3; k++) {
        size_t n = length_read(text, &out[k]);
        char wanted = k < 2 ? ',' : after;
        if (n == 0 || (text[n] != wanted && !(wanted == ';' && text[n] == '\0')))
            return NULL;
        text += n + (k < 2);
    }
    return text;
}

bool value_pairs(const char *text, size_t most, double (*out)[6], size_t *count)
{
    for (*count = 0; *text; ++*count) {
        double pair[6];
        const char *colon = point_read(text, ':', pair);
        const char *end = colon ? point_read(colon + 1, ';', pair + 3) : NULL;
        if (!end)
            return false;
        if (*count < most)
            memcpy(out[*count], pair, sizeof pair);
        text = end + (*end == ';');
    }
    return *count > 0;
}

bool value_places(const char *text, size_t most, double (*out)[3], size_t *count)
{
    for (*count = 0; *text; ++*count) {
        double place[3];
        const char *end = point_read(text, ';', place);
        if (!end)
            return false;
        if (*count < most)
            memcpy(out[*count], place, sizeof place);
        text = end + (*end == ';');
    }
    return *count > 0;
}

static bool direction_read(const char *text, double out[3])
{
    const char *axis = text + (*text == '-' || *text == '+');
    if (*axis >= 'x' && *axis <= 'z' && axis[1] == '\0') {
        for (int k = 0; k < 3; k++)
            out[k] = 0;
        out[*axis - 'x'] = *text == '-' ? -1 : 1;
        return true;
    }
    return vec_read(text, out, false) && (out[0] != 0 || out[1] != 0 || out[2] != 0);
}

/* The place of the word in "flat smooth"; -1: not there. */
static int choice_read(const char *choices, const char *text)
{
    size_t n = strlen(text);
    for (int i = 0; *choices; i++) {
        size_t m = strcspn(choices, " ");
        if (n == m && strncmp(choices, text, n) == 0)
            return i;
        choices += m + (choices[m] == ' ');
    }
    return -1;
}

/* "flat, smooth or sharp" */
static void choices_list(const char *choices, char *out, size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    while (*choices && used < size) {
        size_t m = strcspn(choices, " ");
        const char *rest = choices + m + (choices[m] == ' ');
        const char *between = !*rest ? "" : strchr(rest, ' ') ? ", " : " or ";
        int n = snprintf(out + used, size - used, "%.*s%s", (int)m, choices, between);
        used += n > 0 ? (size_t)n : size;
        choices = rest;
    }
}

/* A measure as a message says it: "10%" "5 mm" "30 degrees" "3". */
static void measure(const struct param *param, bool share, double number, char out[NUMBER_SIZE + 8])
{
    bool length = !share && (param->kind == PARAM_LENGTH || param->kind == PARAM_SIZE ||
                             param->kind == PARAM_VEC || param->kind == PARAM_PLACE ||
                             param->kind == PARAM_BOX);
    number_text(number, share ? 2 : 0, out);
    strcat(out, share ? "%" : length ? " mm" : param->kind == PARAM_ANGLE ? " deg" : "");
}

static bool in_range(const struct param *param, bool share, double number, char why[WHY_SIZE])
{
    double least = param->least, most = param->most;
    if (share && param->kind == PARAM_SIZE) /* the row's range is that of the length */
        least = 0, most = 1;
    if ((least == 0 && most == 0) || (number >= least && number <= most))
        return true;
    char low[NUMBER_SIZE + 8], high[NUMBER_SIZE + 8];
    measure(param, share, least, low);
    if (most >= 1e300)
        return wrong(why, "must be at least %s", low);
    measure(param, share, most, high);
    return wrong(why, "must be from %s to %s", low, high);
}

static bool scalar(const struct param *param, bool read, bool share, struct value *out,
                   const char *what, char why[WHY_SIZE])
{
    out->share = share;
    return read ? in_range(param, share, out->number, why) : wrong(why, "must be %s", what);
}

static bool choose(int choice, struct value *out)
{
    out->choice = choice;
    out->number = choice;
    return choice >= 0;
}

static bool piece_read(const char *text, struct value *out)
{
    out->number = 0;
    return strcmp(text, "all") == 0 || (count_read(text, &out->number) && out->number >= 1);
}

static bool components_in_range(const struct param *param, const struct value *value,
                                char why[WHY_SIZE])
{
    for (int k = 0; k < 3; k++)
        if (!in_range(param, false, value->vec[k], why))
            return false;
    return true;
}

static bool text_read(const char *text, struct value *out, char why[WHY_SIZE])
{
    out->text = text;
    return *text ? true : wrong(why, "must not be empty");
}

bool value_read(const struct param *param, const char *text, struct value *out, char why[WHY_SIZE])
{
    double *number = &out->number;
    char list[120];
    size_t points;
    *out = (struct value){.given = true, .text = ""};
    if (value_is_absent_word(param, text)) {
        out->given = false;
        return true;
    }
    switch (param->kind) {
    case PARAM_FLAG:
        return choose(choice_read("no yes", text), out) ? true : wrong(why, "must be yes or no");
    case PARAM_COUNT:
        return scalar(param, count_read(text, number), false, out, "a whole number", why);
    case PARAM_NUMBER:
        return scalar(param, whole(text, number_read(text, 0, number)), false, out,
                      "a number such as 2.5", why);
    case PARAM_LENGTH:
        return scalar(param, whole(text, length_read(text, number)), false, out,
                      "a length such as 5mm or 0.2in (mm cm m in ft um)", why);
    case PARAM_ANGLE:
        return scalar(param, angle_read(text, number), false, out, "an angle in degrees, like 30",
                      why);
    case PARAM_SHARE:
        return scalar(param, share_read(text, number), true, out, "a share such as 10%", why);
    case PARAM_SIZE:
        if (strchr(text, '%'))
            return scalar(param, share_read(text, number), true, out, "a share such as 10%", why);
        return scalar(param, whole(text, length_read(text, number)), false, out,
                      "a length such as 5mm or a share such as 10%", why);
    case PARAM_VEC:
    case PARAM_PLACE:
        return vec_read(text, out->vec, true) ? components_in_range(param, out, why)
                                              : wrong(why, "must be x,y,z such as 0,0,12.5 or "
                                                           "0,0,1in");
    case PARAM_BOX:
        return box_read(text, out->vec) ? components_in_range(param, out, why)
                                        : wrong(why, "must be AxBxC such as 220x220x250");
    case PARAM_DIRECTION:
        return direction_read(text, out->vec) || wrong(why, "must be a direction: x y z -x -y -z, "
                                                            "or x,y,z such as 0,0.5,1 (not 0,0,0)");
    case PARAM_CHOICE:
        choices_list(param->choices, list, sizeof list);
        return choose(choice_read(param->choices, text), out) || wrong(why, "must be %s", list);
    case PARAM_PIECE:
        return piece_read(text, out) || wrong(why, "must be a piece's number, from 1, or all");
    case PARAM_PAIRS:
        out->text = text;
        return value_pairs(text, 0, NULL, &points) ||
               wrong(why, "must be pairs of points, x,y,z:x,y,z;... such as "
                          "0,0,0:5,0,0;10,0,0:15,0,0;0,10,0:5,10,0");
    case PARAM_PLACES:
        out->text = text;
        return value_places(text, 0, NULL, &points) ||
               wrong(why, "must be points, x,y,z;x,y,z;... such as 0,0,0;10,0,25");
    case PARAM_PATH:
    case PARAM_TEXT:
        break;
    }
    return text_read(text, out, why);
}

/* --- writing -------------------------------------------------------------------------------- */

size_t value_room(const struct value *value)
{
    return 3 * (NUMBER_SIZE + 8) + (value->text ? 2 * strlen(value->text) : 0);
}

static char *write_vec(const double vec[3], char between, char *out)
{
    for (int k = 0; k < 3; k++) {
        number_text(vec[k], 0, out);
        out += strlen(out);
        if (k < 2)
            *out++ = between;
    }
    return out;
}

static char *write_choice(const char *choices, int choice, char *out)
{
    while (choice-- > 0)
        choices += strcspn(choices, " ") + 1;
    size_t n = strcspn(choices, " ");
    memcpy(out, choices, n);
    out[n] = '\0';
    return out + n;
}

char *value_write(const struct param *param, const struct value *value, char *out)
{
    if (!value->given)
        return stpcpy(out, param->standard ? param->standard : "");
    switch (param->kind) {
    case PARAM_FLAG:
        return stpcpy(out, value->choice ? "yes" : "no");
    case PARAM_CHOICE:
        return write_choice(param->choices, value->choice, out);
    case PARAM_PATH:
    case PARAM_TEXT:
    case PARAM_PAIRS:
    case PARAM_PLACES:
        return word_write(out, value->text);
    case PARAM_VEC:
    case PARAM_PLACE:
    case PARAM_DIRECTION:
        return write_vec(value->vec, ',', out);
    case PARAM_BOX:
        return write_vec(value->vec, 'x', out);
    case PARAM_PIECE:
        if (value->number == 0)
            return stpcpy(out, "all");
        break;
    default:
        break;
    }
    number_text(value->number, value->share ? 2 : 0, out);
    out += strlen(out);
    return value->share ? stpcpy(out, "%") : out;
}
