/* What is fitted to this board. Change it here, or in the call of make: make CONVERTERS=2 TILT=0
 *
 * Name every channel as the rig file does. What is not fitted is not named: a channel that is named and does not answer
 * is a fault. */
#ifndef CONFIG_H
#define CONFIG_H

#ifndef CONVERTERS
#define CONVERTERS 4 /* 1 to 4 */
#endif
#ifndef TILT
#define TILT 1 /* 0: no tilt sensor */
#endif

#define CONVERTER_NAMES "hands_left", "hands_right", "saddle_nose", "saddle_rear"
#define TILT_NAME "tilt"

/* Degrees per count of the tilt channel, of a sensor whose output goes from 10 % to 90 % of its supply over 60 degrees:
 * 60 / (0.8 * 65472). 0 when you do not know it. */
#define TILT_UNITS 0.0011455f

#define FIRMWARE "reference 1.0"

#endif
