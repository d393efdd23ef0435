/* What a program that uses SDL 2 sees: every joystick, its axes and their values.
 *
 * One line a joystick: NAME<TAB>axes N<TAB>buttons N<TAB>VALUE VALUE ...; the first line gives SDL's version.
 * SDL is loaded at run time, as only its library is at hand, not its headers; the few declarations are SDL_joystick.h's.
 */
#include <dlfcn.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

static void *library;

static void *find(const char *name) {
    void *found = dlsym(library, name);
    if (!found) {
        fprintf(stderr, "no %s\n", name);
        exit(1);
    }
    return found;
}

int main(void) {
    const uint32_t init_joystick = 0x200;
    library = dlopen("libSDL2.so", RTLD_NOW);
    if (!library) {
        fprintf(stderr, "%s\n", dlerror());
        return 1;
    }
    int (*init)(uint32_t) = find("SDL_Init");
    const char *(*error)(void) = find("SDL_GetError");
    void (*version)(uint8_t *) = find("SDL_GetVersion");
    int (*joysticks)(void) = find("SDL_NumJoysticks");
    void *(*open)(int) = find("SDL_JoystickOpen");
    const char *(*name)(void *) = find("SDL_JoystickName");
    void (*update)(void) = find("SDL_JoystickUpdate");
    int (*axes)(void *) = find("SDL_JoystickNumAxes");
    int (*buttons)(void *) = find("SDL_JoystickNumButtons");
    int16_t (*axis)(void *, int) = find("SDL_JoystickGetAxis");

    if (init(init_joystick)) {
        fprintf(stderr, "SDL_Init: %s\n", error());
        return 1;
    }
    uint8_t numbers[3];
    version(numbers);
    printf("SDL %d.%d.%d\n", numbers[0], numbers[1], numbers[2]);
    for (int index = 0; index < joysticks(); index++) {
        void *joystick = open(index);
        if (!joystick) {
            fprintf(stderr, "SDL_JoystickOpen: %s\n", error());
            return 1;
        }
        update();
        printf("%s\taxes %d\tbuttons %d\t", name(joystick), axes(joystick), buttons(joystick));
        for (int number = 0; number < axes(joystick); number++)
            printf("%d ", axis(joystick, number));
        printf("\n");
    }
    return 0;
}
