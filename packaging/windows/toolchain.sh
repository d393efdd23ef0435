# Sourced from bash: windows_cargo ARGUMENT... is cargo for Windows (x86_64-pc-windows-gnu), built into target/windows.
#
# Debian's own compiler is used, because Debian ships the source of the standard library that belongs to it and
# no ready-made one for Windows: std is built once and kept in target/windows as a sysroot named after the
# source's version and this file. After that it is plain cargo. The toolchain that the rest of the project uses stays out of this.
source "$(dirname "${BASH_SOURCE[0]}")/../lib/debian.sh"

windows_top=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
windows_target=x86_64-pc-windows-gnu
windows_build=$windows_top/target/windows

windows_toolchain() {
    need_packages rustc-web cargo-web rust-web-src gcc-mingw-w64-x86-64
    local version seed
    version=$(dpkg-query -W -f '${Version}' rust-web-src)
    windows_sysroot=$windows_build/sysroot-$version-$(sha256sum <"${BASH_SOURCE[0]}" | cut -c -8)
    [[ -e $windows_sysroot/done ]] && return
    echo "building the standard library for Windows from Debian's rust-web-src $version" >&2
    seed=$windows_build/seed
    # What was built against another standard library cannot be used with this one, and cargo does not see that.
    rm -rf "$windows_build"/sysroot-* "$windows_build/cargo" "$seed"
    mkdir -p "$seed/src" "$windows_sysroot/lib/rustlib/$windows_target/lib"
    printf '[package]\nname = "seed"\nversion = "0.0.0"\nedition = "2024"\n[workspace]\n' >"$seed/Cargo.toml"
    echo 'fn main() {}' >"$seed/src/main.rs"
    # As Rust's own build does: the crate for panic = "abort" is built that way itself and all others are not, and
    # each carries its bitcode, without which there is no link-time optimisation.
    printf '%s\n' '#!/bin/sh' \
        'case " $* " in *" --crate-name panic_abort "*) set -- "$@" -C panic=abort ;; esac' \
        'case " $* " in *" --crate-name "*" --target "*) set -- "$@" -C embed-bitcode=yes ;; esac' \
        'exec "$@"' >"$seed/rustc"
    chmod +x "$seed/rustc"
    # -Z is a nightly's option; the variable asks for it here and nowhere else.
    (cd "$seed" && RUSTC_BOOTSTRAP=1 RUSTC_WRAPPER=$seed/rustc windows_environment /usr/bin/cargo build --quiet --release \
        -Z build-std=std,panic_abort,test --target $windows_target --target-dir "$seed/target")
    ln -s /usr/lib/rustlib/x86_64-unknown-linux-gnu "$windows_sysroot/lib/rustlib/x86_64-unknown-linux-gnu"
    cp "$seed/target/$windows_target/release/deps/"*.rlib "$windows_sysroot/lib/rustlib/$windows_target/lib/"
    rm -rf "$seed"
    touch "$windows_sysroot/done"
}

# Without RUSTC, /usr/bin/cargo calls whichever rustc comes first in PATH.
windows_environment() {
    env RUSTC=/usr/bin/rustc RUSTDOC=/usr/bin/rustdoc RUSTUP_TOOLCHAIN= \
        CARGO_TARGET_X86_64_PC_WINDOWS_GNU_LINKER=x86_64-w64-mingw32-gcc "$@"
}

windows_cargo() {
    local command=$1
    shift
    (cd "$windows_top" && \
        CARGO_TARGET_X86_64_PC_WINDOWS_GNU_RUSTFLAGS="--sysroot $windows_sysroot" \
        windows_environment /usr/bin/cargo "$command" --locked --target $windows_target \
        --target-dir "$windows_build/cargo" "$@")
}
