//! The few functions of the ALSA library that capture needs, behind safe types.
//!
//! Signatures and constants are those of the library's public header `alsa/pcm.h` and `alsa/control.h`, version
//! 1.0 of its interface (`libasound.so.2`), which has been stable since 2004.
#![expect(
    unsafe_code,
    reason = "calls into a C library that is loaded at run time; every call is in this file, with why it is sound"
)]

use std::ffi::{CStr, CString, c_char, c_int, c_long, c_uint, c_ulong, c_void};
use std::ptr::null_mut;
use std::sync::Arc;
use std::time::Duration;

use crate::format::{Encoding, Format};
use crate::input::InputError;

const STREAM_CAPTURE: c_int = 1;
const ACCESS_RW_INTERLEAVED: c_int = 3;
const NONBLOCK: c_int = 1;
const FORMAT_S16_LE: c_int = 2;
const FORMAT_S32_LE: c_int = 10;
const FORMAT_FLOAT_LE: c_int = 14;
const FORMAT_S24_3LE: c_int = 32;

// Error numbers of Linux, which the library gives negative.
const EAGAIN: c_long = 11;
const EBUSY: c_int = 16;
const ENODEV: c_long = 19;
const ENOENT: c_int = 2;
const EACCES: c_int = 13;
const EPIPE: c_long = 32;
const ESTRPIPE: c_long = 86;

/// Opaque to us: a device, its parameters, a hint.
type Handle = *mut c_void;

/// Declares the functions once: their names and types, and how they are looked up.
macro_rules! functions {
    ($($name:ident: fn($($argument:ty),*) $(-> $result:ty)?;)*) => {
        struct Functions {
            $($name: unsafe extern "C" fn($($argument),*) $(-> $result)?,)*
        }

        impl Functions {
            fn find(library: &libloading::Library) -> Result<Functions, libloading::Error> {
                Ok(Functions {
                    // SAFETY: the type is that of the function of this name in the library's header.
                    $($name: unsafe { *library.get(concat!(stringify!($name), "\0").as_bytes())? },)*
                })
            }
        }
    };
}

functions! {
    snd_pcm_open: fn(*mut Handle, *const c_char, c_int, c_int) -> c_int;
    snd_pcm_close: fn(Handle) -> c_int;
    snd_pcm_start: fn(Handle) -> c_int;
    snd_pcm_prepare: fn(Handle) -> c_int;
    snd_pcm_resume: fn(Handle) -> c_int;
    snd_pcm_wait: fn(Handle, c_int) -> c_int;
    snd_pcm_readi: fn(Handle, *mut c_void, c_ulong) -> c_long;
    snd_pcm_hw_params: fn(Handle, Handle) -> c_int;
    snd_pcm_hw_params_malloc: fn(*mut Handle) -> c_int;
    snd_pcm_hw_params_free: fn(Handle);
    snd_pcm_hw_params_any: fn(Handle, Handle) -> c_int;
    snd_pcm_hw_params_set_access: fn(Handle, Handle, c_int) -> c_int;
    snd_pcm_hw_params_set_format: fn(Handle, Handle, c_int) -> c_int;
    snd_pcm_hw_params_set_rate_resample: fn(Handle, Handle, c_uint) -> c_int;
    snd_pcm_hw_params_set_rate_near: fn(Handle, Handle, *mut c_uint, *mut c_int) -> c_int;
    snd_pcm_hw_params_set_channels_near: fn(Handle, Handle, *mut c_uint) -> c_int;
    snd_pcm_hw_params_set_period_time_near: fn(Handle, Handle, *mut c_uint, *mut c_int) -> c_int;
    snd_pcm_hw_params_set_buffer_time_near: fn(Handle, Handle, *mut c_uint, *mut c_int) -> c_int;
    snd_device_name_hint: fn(c_int, *const c_char, *mut *mut *mut c_void) -> c_int;
    snd_device_name_get_hint: fn(*const c_void, *const c_char) -> *mut c_char;
    snd_device_name_free_hint: fn(*mut *mut c_void) -> c_int;
    snd_lib_error_set_handler: fn(*const c_void) -> c_int;
    snd_strerror: fn(c_int) -> *const c_char;
    free: fn(*mut c_void);
}

/// The library, loaded.
#[derive(Clone)]
pub(super) struct Library(Arc<Loaded>);

struct Loaded {
    functions: Functions,
    /// Keeps the code that `functions` points to.
    _library: libloading::Library,
}

/// What is asked of a device; the nearest that it can is taken, the first of the encodings that it knows.
pub(super) struct Wish<'a> {
    pub(super) encodings: &'a [Encoding],
    pub(super) sample_rate_hz: u32,
    pub(super) channels: u32,
    pub(super) block_s: f64,
    pub(super) buffer_s: f64,
}

/// A device that captures.
pub(super) struct Pcm {
    library: Library,
    handle: Handle,
}

// SAFETY: a handle may be used by any one thread at a time; `Pcm` is not `Sync`, so one thread has it.
unsafe impl Send for Pcm {}

/// Why no frames came.
pub(super) enum ReadError {
    /// The driver's buffer ran over: frames were lost; the device captures again.
    Overrun,
    /// The device is gone.
    Gone(String),
}

/// Parameters of a device, freed when dropped.
struct Params<'a>(&'a Functions, Handle);

impl Drop for Params<'_> {
    fn drop(&mut self) {
        // SAFETY: the handle came from `snd_pcm_hw_params_malloc` and is freed once.
        unsafe { (self.0.snd_pcm_hw_params_free)(self.1) }
    }
}

/// The library tells errors on standard error, in its own words; ours are enough.
extern "C" fn silent() {}

impl Library {
    pub(super) fn load() -> Result<Library, InputError> {
        // SAFETY: the ALSA library has no initialiser with a precondition.
        let library = unsafe { libloading::Library::new("libasound.so.2") };
        let library = library
            .map_err(|_| InputError("its library libasound.so.2 is not installed".into()))?;
        let functions = Functions::find(&library)
            .map_err(|error| InputError(format!("its library is incomplete: {error}")))?;
        // SAFETY: the handler has C's calling convention, under which the caller clears the arguments away, so one
        // that takes none may be called with any.
        unsafe { (functions.snd_lib_error_set_handler)(silent as *const c_void) };
        let _library = library;
        Ok(Library(Arc::new(Loaded {
            functions,
            _library,
        })))
    }

    /// Name and description of all inputs.
    pub(super) fn inputs(&self) -> Vec<(String, String)> {
        let f = &self.0.functions;
        let mut hints = null_mut();
        // SAFETY: the name is a C string; `hints` receives an array that ends with a null pointer.
        if unsafe { (f.snd_device_name_hint)(-1, c"pcm".as_ptr(), &mut hints) } < 0 {
            return Vec::new();
        }
        let mut inputs = Vec::new();
        for index in 0.. {
            // SAFETY: no element beyond the null pointer that ends the array is read.
            let hint = unsafe { *hints.add(index) };
            if hint.is_null() {
                break;
            }
            let direction = self.hint(hint, c"IOID");
            let name = self.hint(hint, c"NAME");
            // Without a direction a device is both.
            if let Some(name) = name.filter(|name| name != "null")
                && direction.is_none_or(|direction| direction == "Input")
            {
                let described = self.hint(hint, c"DESC").unwrap_or_default();
                inputs.push((name, described.replace('\n', ", ")));
            }
        }
        // SAFETY: the array came from `snd_device_name_hint` and is freed once.
        unsafe { (f.snd_device_name_free_hint)(hints) };
        inputs
    }

    fn hint(&self, hint: *const c_void, key: &CStr) -> Option<String> {
        let f = &self.0.functions;
        // SAFETY: `hint` is an element of the array; the result is null or a C string that we must free.
        unsafe {
            let text = (f.snd_device_name_get_hint)(hint, key.as_ptr());
            if text.is_null() {
                return None;
            }
            let owned = CStr::from_ptr(text).to_string_lossy().into_owned();
            (f.free)(text.cast());
            Some(owned)
        }
    }

    /// Opens a device for capture and starts it.
    pub(super) fn open(&self, name: &str, wish: &Wish<'_>) -> Result<(Pcm, Format), InputError> {
        let f = &self.0.functions;
        let c_name =
            CString::new(name).map_err(|_| InputError("a name has no zero in it".to_owned()))?;
        let mut handle = null_mut();
        // SAFETY: the name is a C string; `handle` receives the device if the result is not negative.
        let opened =
            unsafe { (f.snd_pcm_open)(&mut handle, c_name.as_ptr(), STREAM_CAPTURE, NONBLOCK) };
        if opened < 0 {
            return Err(InputError(match -opened {
                EBUSY => "another program holds the device; end it first".to_owned(),
                EACCES => "the system does not permit it; join the group `audio`".to_owned(),
                ENOENT => format!("it has no input `{name}`"),
                _ => self.words(opened),
            }));
        }
        let pcm = Pcm {
            library: self.clone(),
            handle,
        };
        let format = pcm.configure(wish)?;
        Ok((pcm, format))
    }

    fn words(&self, error: c_int) -> String {
        // SAFETY: the result is a C string that lives as long as the library.
        let words = unsafe { CStr::from_ptr((self.0.functions.snd_strerror)(error)) };
        words.to_string_lossy().into_owned()
    }
}

impl Pcm {
    fn configure(&self, wish: &Wish<'_>) -> Result<Format, InputError> {
        let f = &self.library.0.functions;
        let checked = |result: c_int| match result {
            0.. => Ok(()),
            error => Err(InputError(self.library.words(error))),
        };
        let mut params = null_mut();
        // SAFETY: `params` receives parameters, freed by the guard.
        checked(unsafe { (f.snd_pcm_hw_params_malloc)(&mut params) })?;
        let guard = Params(f, params);
        let (pcm, params) = (self.handle, guard.1);
        let mut rate = wish.sample_rate_hz as c_uint;
        let mut channels = wish.channels as c_uint;
        let mut block_us = (1e6 * wish.block_s) as c_uint;
        let mut buffer_us = (1e6 * wish.buffer_s) as c_uint;
        // SAFETY: both handles are live; the pointers are to numbers that outlive each call.
        let encoding = unsafe {
            checked((f.snd_pcm_hw_params_any)(pcm, params))?;
            // No resampling between the device and us: what it cannot do, it is not asked to seem to do.
            checked((f.snd_pcm_hw_params_set_rate_resample)(pcm, params, 0))?;
            checked((f.snd_pcm_hw_params_set_access)(
                pcm,
                params,
                ACCESS_RW_INTERLEAVED,
            ))?;
            let encoding = wish.encodings.iter().copied().find(|encoding| {
                (f.snd_pcm_hw_params_set_format)(pcm, params, code(*encoding)) >= 0
            });
            checked((f.snd_pcm_hw_params_set_channels_near)(
                pcm,
                params,
                &mut channels,
            ))?;
            checked((f.snd_pcm_hw_params_set_rate_near)(
                pcm,
                params,
                &mut rate,
                null_mut(),
            ))?;
            // Lengths are wishes; a device that has its own is taken as it is.
            (f.snd_pcm_hw_params_set_buffer_time_near)(pcm, params, &mut buffer_us, null_mut());
            (f.snd_pcm_hw_params_set_period_time_near)(pcm, params, &mut block_us, null_mut());
            checked((f.snd_pcm_hw_params)(pcm, params))?;
            checked((f.snd_pcm_start)(pcm))?;
            encoding
        };
        let encoding = encoding
            .ok_or_else(|| InputError("it gives no samples that can be captured".to_owned()))?;
        Ok(Format {
            sample_rate_hz: rate,
            channels: u16::try_from(channels).unwrap_or(u16::MAX),
            encoding,
        })
    }

    /// Frames that came, at most as many as fit `block`; 0 when none came for as long as `patience`.
    pub(super) fn read(
        &self,
        block: &mut [u8],
        frame_bytes: usize,
        patience: Duration,
    ) -> Result<usize, ReadError> {
        let f = &self.library.0.functions;
        let frames = (block.len() / frame_bytes) as c_ulong;
        // SAFETY: the handle is live; the library writes at most `frames` frames, which `block` holds.
        let got = unsafe {
            (f.snd_pcm_wait)(self.handle, patience.as_millis() as c_int);
            (f.snd_pcm_readi)(self.handle, block.as_mut_ptr().cast(), frames)
        };
        match got {
            0.. => Ok(got as usize),
            _ if got == -EAGAIN => Ok(0),
            _ if got == -EPIPE || got == -ESTRPIPE => self.again(got == -ESTRPIPE),
            _ if got == -ENODEV => Err(ReadError::Gone("the device was unplugged".to_owned())),
            _ => Err(ReadError::Gone(self.library.words(got as c_int))),
        }
    }

    /// Starts again after an overrun or after the system slept.
    fn again(&self, slept: bool) -> Result<usize, ReadError> {
        let f = &self.library.0.functions;
        // SAFETY: the handle is live.
        let started = unsafe {
            let resumed = slept && (f.snd_pcm_resume)(self.handle) >= 0;
            resumed
                || ((f.snd_pcm_prepare)(self.handle) >= 0 && (f.snd_pcm_start)(self.handle) >= 0)
        };
        if started {
            return Err(ReadError::Overrun);
        }
        Err(ReadError::Gone(
            "the device does not start again".to_owned(),
        ))
    }
}

impl Drop for Pcm {
    fn drop(&mut self) {
        // SAFETY: the handle came from `snd_pcm_open` and is closed once.
        unsafe { (self.library.0.functions.snd_pcm_close)(self.handle) };
    }
}

fn code(encoding: Encoding) -> c_int {
    match encoding {
        Encoding::I16 => FORMAT_S16_LE,
        Encoding::I24 => FORMAT_S24_3LE,
        Encoding::I32 => FORMAT_S32_LE,
        Encoding::F32 => FORMAT_FLOAT_LE,
    }
}
