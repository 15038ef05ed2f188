# Finds the kernel of the VM, or fetches it. Read by run-in-can-vm.
#
# A kernel root is a folder with boot/vmlinuz-R, boot/config-R and
# lib/modules/R. It is, in this order: the folder named by the caller, the
# installed system if its kernel has the modules, or a kernel package unpacked
# into the cache (unpacked only: installing it would run boot loader hooks).
kernel_release_in() {  # newest release in root $1 that has the modules for CAN and for serial adapters on USB
    local k r best=''
    for k in "$1"/boot/vmlinuz-*; do
        r=${k##*/vmlinuz-}
        if [ -r "$k" ] && compgen -G "$1/lib/modules/$r/kernel/net/can/can.ko*" >/dev/null &&
           compgen -G "$1/lib/modules/$r/kernel/drivers/usb/serial/ftdi_sio.ko*" >/dev/null; then
            best=$(printf '%s\n' $best "$r" | sort -V | tail -n 1)
        fi
    done
    [ -n "$best" ] && printf '%s' "$best"
}

current_kernel_package() {  # the package that the distribution's own name for the kernel stands for; may be empty
    apt-cache depends linux-image-amd64 2>/dev/null |
        sed -n 's/^ *Depends: \(linux-image-[0-9].*\)/\1/p' | head -n 1 || true
}

fetch_kernel() {  # unpack a kernel package into the cache
    local package=${CAN_VM_KERNEL_PACKAGE:-} dir=$work/kernel debs
    type -P apt-get >/dev/null && type -P dpkg-deb >/dev/null ||
        fail 'no kernel with CAN and USB modules here and no apt-get to fetch one; set CAN_VM_KERNEL_ROOT' 77
    if [ -z "$package" ]; then
        package=$(current_kernel_package)
        # A fresh machine may have no package lists yet.
        if [ -z "$package" ] && [ "$(id -u)" -eq 0 ]; then
            apt-get -qq -o DPkg::Lock::Timeout=300 update >/dev/null
            package=$(current_kernel_package)
        fi
        [ -n "$package" ] || fail "apt knows no linux-image-amd64; run: apt-get update" 77
    fi
    say "fetching $package (once) into the cache"
    mkdir -p "$dir/deb" "$dir/root"
    (cd "$dir/deb" && apt-get -qq download "$package" 2>"$work/apt.log") || {
        cat "$work/apt.log" >&2
        fail "could not download $package; run 'apt-get update' and try again" 77
    }
    debs=("$dir"/deb/*.deb)
    # Only the kernel, its config and the modules that we load.
    dpkg-deb --fsys-tarfile "${debs[0]}" | tar -x -C "$dir/root" --wildcards \
        './boot/vmlinuz-*' './boot/config-*' './lib/modules/*/kernel/net/can/*' \
        './lib/modules/*/kernel/drivers/net/can/*' './lib/modules/*/kernel/drivers/virtio/*' \
        './lib/modules/*/kernel/drivers/char/virtio_console.ko*' \
        './lib/modules/*/kernel/drivers/usb/common/*' './lib/modules/*/kernel/drivers/usb/core/*' \
        './lib/modules/*/kernel/drivers/usb/host/uhci-hcd.ko*' './lib/modules/*/kernel/drivers/usb/serial/*'
    [ -n "$(kernel_release_in "$dir/root")" ] || fail "$package has no CAN or no USB modules"
    rm -rf "$cache/kernel"
    mv "$dir/root" "$cache/kernel"
}

# Debian's kernel file is a small program that unpacks the real kernel; under
# emulation that takes several seconds. Unpack it here once: qemu can start the
# plain kernel directly where it is built with CONFIG_PVH.
plain_kernel() {  # $1 = vmlinuz, $2 = result
    local setup offset length magic
    setup=$(od -An -tu1 -j497 -N1 "$1")
    [ "$setup" -gt 0 ] || setup=4
    offset=$(od -An -tu4 -j584 -N4 "$1")
    length=$(od -An -tu4 -j588 -N4 "$1")
    tail -c +$(( (setup + 1) * 512 + offset + 1 )) "$1" | head -c "$length" >"$work/payload" || true
    magic=$(od -An -tx1 -N4 "$work/payload" | tr -d ' ')
    # The compressed kernel is followed by its size, which the tools take for
    # garbage: so judge by the result, not by their exit status.
    case $magic in
        fd377a58) xz -dc --single-stream "$work/payload" ;;
        1f8b*)    gzip -dc "$work/payload" ;;
        28b52ffd) zstd -dc "$work/payload" ;;
        02214c18) lz4 -dc "$work/payload" ;;
    esac >"$work/vmlinux" 2>/dev/null || true
    rm -f "$work/payload"
    [ "$(head -c 4 "$work/vmlinux" | tail -c 3)" = ELF ] || return 1
    mv "$work/vmlinux" "$2"
}

find_kernel() {  # sets kernel, kernel_root and release
    if [ -n "${CAN_VM_KERNEL_ROOT:-}" ]; then
        kernel_root=$CAN_VM_KERNEL_ROOT
        release=$(kernel_release_in "$kernel_root") || fail "$kernel_root: no kernel with CAN and USB modules"
    elif release=$(kernel_release_in "$cache/kernel"); then
        kernel_root=$cache/kernel
    elif release=$(kernel_release_in ''); then
        kernel_root=
    else
        fetch_kernel
        kernel_root=$cache/kernel
        release=$(kernel_release_in "$kernel_root")
    fi
    kernel=$kernel_root/boot/vmlinuz-$release
    if grep -qs '^CONFIG_PVH=y' "$kernel_root/boot/config-$release"; then
        if [ ! "$cache/vmlinux-$release" -nt "$kernel" ]; then
            plain_kernel "$kernel" "$cache/vmlinux-$release" || true
        fi
        if [ -s "$cache/vmlinux-$release" ]; then kernel=$cache/vmlinux-$release; fi
    fi
}
