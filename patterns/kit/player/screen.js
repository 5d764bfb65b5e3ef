// The screen itself: full screen, staying awake, orientation, and how a clip is scaled.

const WHOLE = 0.002; // how far from a whole number of pixels still counts as whole

/** Full screen for `box`, or for the video alone where only that is allowed; true if it began. */
export async function enterFullScreen(box, video) {
  try {
    if (box.requestFullscreen) {
      await box.requestFullscreen({ navigationUI: "hide" });
      return true;
    }
    if (box.webkitRequestFullscreen) {
      box.webkitRequestFullscreen();
      return true;
    }
    if (video?.webkitEnterFullscreen) {
      video.webkitEnterFullscreen();
      return true;
    }
  } catch {
    // refused: it plays inline
  }
  return false;
}

export const isFullScreen = () =>
  Boolean(document.fullscreenElement ?? document.webkitFullscreenElement);

export async function leaveFullScreen() {
  try {
    if (document.fullscreenElement) await document.exitFullscreen();
    else document.webkitExitFullscreen?.();
  } catch {
    // already left
  }
}

/** Turn the screen to the clip's way, where that is allowed. */
export async function turnScreen(width, height) {
  try {
    await screen.orientation?.lock?.(width >= height ? "landscape" : "portrait");
  } catch {
    // most systems allow it in full screen only, some never
  }
}

/** Keeps the screen awake while held; needs a secure context. A playing video must do elsewhere. */
export class WakeLock {
  constructor() {
    this.lock = null;
    this.wanted = false;
    document.addEventListener("visibilitychange", () => {
      if (this.wanted && document.visibilityState === "visible") this.hold();
    });
  }

  static get offered() {
    return window.isSecureContext && "wakeLock" in navigator;
  }

  async hold() {
    this.wanted = true;
    if (!WakeLock.offered) return;
    try {
      this.lock = await navigator.wakeLock.request("screen");
    } catch {
      // low battery, for one
    }
  }

  release() {
    this.wanted = false;
    this.lock?.release().catch(() => {});
    this.lock = null;
  }
}

/** Screen pixels that one clip pixel covers in an element that shows it whole. */
export function pixelsPerPixel(box, width, height) {
  const ratio = window.devicePixelRatio || 1;
  return Math.min((box.width * ratio) / width, (box.height * ratio) / height);
}

export function scalingText(scale) {
  if (!Number.isFinite(scale) || scale <= 0) return "";
  const nearest = Math.round(scale);
  if (nearest >= 1 && Math.abs(scale - nearest) <= WHOLE * nearest) return "";
  return (
    `Scaled: one clip pixel covers ${scale.toFixed(2)} screen pixels, so edges are softened. ` +
    "When frames are shown does not change."
  );
}

export function orientationText(box, width, height) {
  const wide = width > height;
  if (width === height || box.width > box.height === wide) return "";
  return wide ? "Turn the device: this clip is wider than high." : "Turn the device upright.";
}
