/* A window that has the keyboard, as a simulator's has: writes one line to keys.txt for each message of a key,
 * `down` or `up`, its scan code, whether it is an extended one and how often it repeats. */
#include <windows.h>
#include <stdio.h>

static FILE *out;

static LRESULT CALLBACK heard(HWND window, UINT message, WPARAM key, LPARAM detail) {
    switch (message) {
    case WM_KEYDOWN:
    case WM_KEYUP:
    case WM_SYSKEYDOWN:
    case WM_SYSKEYUP:
        fprintf(out, "%s %02x %d %d\n", message == WM_KEYDOWN || message == WM_SYSKEYDOWN ? "down" : "up",
                (unsigned)(detail >> 16) & 0xff, (int)(detail >> 24) & 1, (int)detail & 0xffff);
        fflush(out);
        return 0;
    case WM_DESTROY: PostQuitMessage(0); return 0;
    }
    return DefWindowProcA(window, message, key, detail);
}

int main(void) {
    out = fopen("keys.txt", "w");
    WNDCLASSA class = {.lpfnWndProc = heard, .lpszClassName = "keys", .hInstance = GetModuleHandleA(NULL)};
    RegisterClassA(&class);
    HWND window = CreateWindowA("keys", "keys", WS_OVERLAPPEDWINDOW | WS_VISIBLE, 50, 50, 300, 200, NULL, NULL, class.hInstance, NULL);
    SetForegroundWindow(window);
    SetFocus(window);
    fprintf(out, GetForegroundWindow() == window ? "ready\n" : "behind\n");
    fflush(out);
    for (MSG message; GetMessageA(&message, NULL, 0, 0) > 0;) DispatchMessageA(&message);
    return 0;
}
