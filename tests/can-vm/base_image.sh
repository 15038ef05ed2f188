# What every run shares: busybox, ip, the modules and /init. Built once and
# kept in the cache under a name made from everything that goes into it. Read by
# run-in-can-vm.

extra_tools=()  # can-utils, if this machine has them
for tool in candump cansend cangen cansequence canplayer isotpsend isotprecv isotpdump slcand; do
    if path=$(type -P "$tool"); then extra_tools+=("$path"); fi
done

# Modules and what each needs, as the kernel's own modprobe asks for them:
# protocols are loaded when a program first opens a socket of that kind.
modules='
drivers/virtio/virtio_ring
drivers/virtio/virtio                virtio_ring
drivers/virtio/virtio_pci_modern_dev
drivers/virtio/virtio_pci_legacy_dev
drivers/virtio/virtio_pci            virtio_pci_legacy_dev virtio_pci_modern_dev virtio virtio_ring
drivers/char/virtio_console          virtio virtio_ring
drivers/net/can/dev/can-dev
drivers/net/can/vcan                 can-dev
drivers/net/can/vxcan                can-dev
drivers/net/can/slcan/slcan          can-dev
drivers/net/can/sja1000/sja1000      can-dev
drivers/net/can/sja1000/kvaser_pci   sja1000 can-dev
drivers/usb/common/usb-common
drivers/usb/core/usbcore             usb-common
drivers/usb/host/uhci-hcd            usbcore usb-common
drivers/usb/serial/usbserial         usbcore usb-common
drivers/usb/serial/ftdi_sio          usbserial usbcore usb-common
net/can/can
net/can/can-raw                      can
net/can/can-bcm                      can
net/can/can-gw                       can
net/can/can-isotp                    can
net/can/j1939/can-j1939              can'
aliases='
alias net-pf-29 can
alias can-proto-1 can_raw
alias can-proto-2 can_bcm
alias can-proto-6 can_isotp
alias can-proto-7 can_j1939
alias rtnl-link-can can_dev
alias rtnl-link-vcan vcan
alias rtnl-link-vxcan vxcan
alias tty-ldisc-17 slcan'

build_base() {  # $1 = result
    local root=$work/base applet path name deps dep source dir=/lib/modules/$release line found
    declare -A at=()
    skeleton "$root"
    cp "$busybox" "$root/usr/bin/busybox"
    # ip is the real one, as busybox's own cannot set a CAN bit rate; and the
    # shell, where there is a dash, as busybox's own would still run its own ip.
    "$busybox" --list-full | while IFS= read -r applet; do
        case /$applet in */ip|*/init|*/linuxrc|*/busybox) continue ;; esac
        case $applet in */*) ;; *) applet=bin/$applet ;; esac
        mkdir -p "$root/${applet%/*}"
        ln -sf /usr/bin/busybox "$root/$applet"
    done
    put "$(type -P ip)" "$root" /usr/sbin/ip
    put "$(type -P chrt)" "$root" /usr/bin/chrt
    if path=$(type -P dash); then
        rm -f "$root/usr/bin/sh"
        put "$path" "$root" /usr/bin/sh
    fi
    for path in "${extra_tools[@]}"; do put "$path" "$root" "/usr/bin/${path##*/}"; done
    ln -sf /usr/bin/busybox "$root/usr/sbin/modprobe"

    mkdir -p "$root$dir"
    while read -r name deps; do
        [ -n "$name" ] || continue
        source=$(compgen -G "$kernel_root/lib/modules/$release/kernel/$name.ko*" | head -n 1) || true
        [ -n "$source" ] || continue  # built in, or not part of this kernel
        path=kernel/$name.ko
        mkdir -p "$root$dir/${path%/*}"
        case $source in
            *.xz)  xz -dc "$source" ;;
            *.zst) zstd -dc "$source" ;;
            *.gz)  gzip -dc "$source" ;;
            *)     cat "$source" ;;
        esac >"$root$dir/$path"
        at[${name##*/}]=$path
        line=$path:
        for dep in $deps; do
            found=${at[$dep]:-}
            if [ -n "$found" ]; then line+=" $found"; fi
        done
        printf '%s\n' "$line" >>"$root$dir/modules.dep"
    done <<<"$modules"
    printf '%s\n' "$aliases" >"$root$dir/modules.alias"
    : >"$root$dir/modules.symbols"

    printf 'root:x:0:0:root:/root:/bin/sh\nnobody:x:65534:65534::/:/bin/false\n' >"$root/etc/passwd"
    printf 'root:x:0:\nnogroup:x:65534:\n' >"$root/etc/group"
    printf '127.0.0.1 localhost can-vm\n' >"$root/etc/hosts"
    if [ -e /etc/ld.so.cache ]; then cp /etc/ld.so.cache "$root/etc/"; fi
    cp "$here"/guest/links "$here"/guest/controllers "$root/etc/can-vm/"
    cp "$here/guest/init" "$root/init"
    chmod 755 "$root/init"
    archive "$root" >"$1"
    rm -rf "$root"
}

find_base_image() {  # sets base
    local base_key
    base_key=$({
        cat "$here"/run-in-can-vm "$here"/*.sh "$here"/guest/*
        stat -c '%n %s %Y' "$busybox" "$(type -P ip)" "${extra_tools[@]}" "$kernel_root/boot/vmlinuz-$release"
        stat -c '%s %Y' /etc/ld.so.cache 2>/dev/null || true
    } | sha256sum | cut -c1-16)
    base=$cache/base-$base_key.cpio
    if [ ! -s "$base" ]; then
        rm -f "$cache"/base-*.cpio
        build_base "$work/base.cpio"
        mv "$work/base.cpio" "$base"
    fi
    ln -f "$base" "$work/base.cpio" 2>/dev/null || cp "$base" "$work/base.cpio"
}
