/* What was made stays sound when it is moved about and cut: rounding folds nothing. Chains of steps
 * on solids that nobody here made; each of them ended with triangles that cross before needles were
 * turned into their neighbours. */
#include <check.h>
#include <stddef.h>

#include "tests/support/file_solids.h"
#include "tests/support/sound.h"
#include "tests/support/steps.h"

Suite *suite_moved(void);

enum { STEPS_MOST = 6 };

static const struct {
    const char *file, *step[STEPS_MOST];
} chains[] = {
    {"empty_mat.obj", {"stand", "hollow wall=3.16 drain=3", "stand"}},
    {"torus_quad.off", {"hollow wall=2.19 drain=3", "mirror y", "stand"}},
    {"fandisk.off",
     {"keyhole at=13.9267578,7.06835938,-3.79492188 screw=M3 up=-0.401,-0.551,0.732 anyway=yes",
      "shell by=1.91 side=inward as=whole", "turn axis=0.714,0.567,0.41 by=82.76"}},
    {"cheese-box.off",
     {"bore at=-32,-32,-32 screw=M3 anyway=yes",
      "keyhole at=-30.7526493,-29.5907593,-32 screw=M3 up=-0.211,-0.886,0.412 anyway=yes",
      "cut through=0.660614,-7.3384,4.34672 normal=-0.703484,0.266698,0.658773"}},
    {"octahedron.off",
     {"bore at=0,32,0 screw=M3 anyway=yes", "cut through=-32,0,0 normal=-y",
      "cut through=0.800398,-6.44258,7.57314 normal=0.300298,0.913844,0.273333"}},
    {"small_cube.off",
     {"bore at=-32,-32,-32 screw=M3 anyway=yes",
      "cut through=-32,-31.4876518,-29.7041454 normal=-y", "turn axis=0.677,0.41,-0.611 by=159.3"}},
    {"tripod.off",
     {"bore at=-11.1572266,2.63769531,-9.7265625 screw=M3 anyway=yes",
      "cut through=2.56101,-3.47193,3.13569 normal=0.194821,-0.269361,0.943127",
      "bore at=-5.24633121,-4.59361887,10.4765625 screw=M3 anyway=yes",
      "cut through=-4.6205287,-1.26968753,5.24814463 normal=z",
      "bore at=-6.46892452,-2.99905729,10.4765625 screw=M3 anyway=yes",
      "turn axis=0.282,0.785,-0.551 by=-22.37"}},
};
enum { CHAINS = sizeof chains / sizeof *chains };

START_TEST(nothing_crosses)
{
    struct scene *scene = steps_scene(file_solid(chains[_i].file));
    for (int k = 0; k < STEPS_MOST && chains[_i].step[k]; k++) {
        scene = steps_after(scene, chains[_i].step[k]);
        const struct mesh *mesh = scene->piece[0]->mesh;
        const char *fault = sound_fault(mesh);
        ck_assert_msg(!fault, "%s, %s: %s", chains[_i].file, chains[_i].step[k], fault);
        ck_assert_msg(sound_crossings(mesh) == 0, "%s, %s: it crosses itself", chains[_i].file,
                      chains[_i].step[k]);
    }
    scene_free(scene);
}
END_TEST

Suite *suite_moved(void)
{
    Suite *suite = suite_create("moved");
    TCase *all = tcase_create("moved");
    tcase_set_timeout(all, 120);
    tcase_add_loop_test(all, nothing_crosses, 0, CHAINS);
    suite_add_tcase(suite, all);
    return suite;
}
