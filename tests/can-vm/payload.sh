# What one run brings along: the command, its files and its settings. Read by
# run-in-can-vm.

quote() { printf "'%s'" "${1//\'/\'\\\'\'}"; }

pack_payload() {  # COMMAND [ARG...]: makes $work/image.cpio, sets image_mb
    local root=$work/root command=$1 in_guest=$1 path item at programs e argument
    shift
    skeleton "$root"
    case $command in
        */*)
            [ -e "$command" ] || fail "$command: no such file" 127
            in_guest=$(realpath -s -- "$command")
            put "$command" "$root" "$in_guest" ;;
        *)
            # A tool that the base image has anyway, else a program of this machine.
            if [ "$command" != ip ] && ! "$busybox" --list | grep -qxF -- "$command" &&
               ! printf '%s\n' "${extra_tools[@]##*/}" | grep -qxF -- "$command"; then
                path=$(type -P "$command") || fail "$command: not found" 127
                put "$path" "$root" "$path"
                in_guest=$path
            fi ;;
    esac

    for item in "${with[@]}"; do
        at=''
        if [ ! -e "$item" ] && [[ $item == *=* ]]; then at=${item##*=}; item=${item%=*}; fi
        [ -e "$item" ] || fail "--with $item: no such file or folder"
        [ -n "$at" ] || at=$(realpath -s -- "$item")
        [[ $at == /* ]] || fail "--with: $at is not an absolute path"
        if [ -d "$item" ]; then
            mkdir -p "$root$at"
            cp -a -- "$item/." "$root$at/"
            programs=()
            while IFS= read -r -d '' path; do
                if is_elf "$path"; then programs+=("$path"); fi
            done < <(find "$(realpath -- "$item")" -type f \( -perm /111 -o -name '*.so*' \) -print0)
            if [ ${#programs[@]} -gt 0 ]; then put_libraries "$root" "${programs[@]}"; fi
        else
            put "$item" "$root" "$at"
        fi
    done

    mkdir -p "$root$PWD"
    {
        printf 'cd %s || exit 126\n' "$(quote "$PWD")"
        printf 'export CAN_VM=1 CAN_VM_OUT=/out\n'
        if [ -n "${LD_LIBRARY_PATH:-}" ]; then printf 'export LD_LIBRARY_PATH=%s\n' "$(quote "$LD_LIBRARY_PATH")"; fi
        for e in "${envs[@]}"; do printf 'export %s=%s\n' "${e%%=*}" "$(quote "${e#*=}")"; done
        printf 'exec %s' "$(quote "$in_guest")"
        for argument in "$@"; do printf ' %s' "$(quote "$argument")"; done
        printf '\n'
    } >"$root/etc/can-vm/run"
    printf 'controllers=%s\nkeep=%s\nusb_serial=%s\n' "$controllers" "$keep" "$usb_serial" >"$root/etc/can-vm/settings"

    # The kernel unpacks archives one after the other, so the payload is simply
    # appended to the base image.
    archive "$root" >"$work/payload.cpio"
    cat "$work/base.cpio" "$work/payload.cpio" >"$work/image.cpio"
    rm -rf "$root" "$work/base.cpio" "$work/payload.cpio"
    image_mb=$(( $(stat -c %s "$work/image.cpio") / 1048576 + 1 ))
}
