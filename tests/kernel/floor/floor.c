/* The least that a C program can do for the job: read a report, count its edges, clamp, write one packet.
 *
 * It is the yardstick of tests/kernel/bench, not a product: two wheels of two buttons each, everything fixed at compile
 * time, no descriptor, no hot plug, no log. Usage: floor-c HIDRAW DEVICE-NAME.
 * Interface: Linux Documentation/input/uinput.rst, Documentation/hid/hidraw.rst.
 */
#include <fcntl.h>
#include <linux/uinput.h>
#include <signal.h>
#include <stdint.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { END = 32767, COUNTS_EACH_WAY = 96, WHEELS = 2 };

/* Button 1 is bit 0; wheel w has forward = button 3 + 2w, backward = the next. */
static const int forward_bit[WHEELS] = {2, 4};
static const int axis_code[WHEELS] = {ABS_X, ABS_Y};

static int create(const char *name) {
    int device = open("/dev/uinput", O_WRONLY);
    ioctl(device, UI_SET_EVBIT, EV_KEY);
    ioctl(device, UI_SET_KEYBIT, BTN_TRIGGER);
    ioctl(device, UI_SET_EVBIT, EV_ABS);
    for (int wheel = 0; wheel < WHEELS; wheel++) {
        struct uinput_abs_setup axis = {.code = axis_code[wheel], .absinfo = {.minimum = -END, .maximum = END}};
        ioctl(device, UI_ABS_SETUP, &axis);
    }
    struct uinput_setup setup = {.id = {.bustype = BUS_VIRTUAL}};
    strncpy(setup.name, name, sizeof setup.name - 1);
    ioctl(device, UI_DEV_SETUP, &setup);
    return ioctl(device, UI_DEV_CREATE) ? -1 : device;
}

int main(int count, char **words) {
    if (count != 3)
        return 2;
    int board = open(words[1], O_RDWR), device = create(words[2]);
    if (board < 0 || device < 0)
        return 1;
    uint32_t before = 0;
    int position[WHEELS] = {0};
    for (;;) {
        uint8_t report[64];
        ssize_t length = read(board, report, sizeof report);
        if (length < 4)
            return 1;
        uint32_t now;
        memcpy(&now, report, sizeof now);
        uint32_t rising = now & ~before;
        before = now;
        struct input_event packet[WHEELS + 1] = {0};
        int events = 0;
        for (int wheel = 0; wheel < WHEELS; wheel++) {
            int moved = (int)(rising >> forward_bit[wheel] & 1) - (int)(rising >> (forward_bit[wheel] + 1) & 1);
            if (!moved)
                continue;
            int to = position[wheel] + moved;
            to = to > COUNTS_EACH_WAY ? COUNTS_EACH_WAY : to < -COUNTS_EACH_WAY ? -COUNTS_EACH_WAY : to;
            position[wheel] = to;
            /* Nearest, halves away from zero. */
            int value = (2 * END * to + (to < 0 ? -COUNTS_EACH_WAY : COUNTS_EACH_WAY)) / (2 * COUNTS_EACH_WAY);
            packet[events++] = (struct input_event){.type = EV_ABS, .code = axis_code[wheel], .value = value};
        }
        if (!events)
            continue;
        packet[events++] = (struct input_event){.type = EV_SYN, .code = SYN_REPORT};
        if (write(device, packet, (size_t)events * sizeof *packet) < 0)
            return 1;
    }
}
