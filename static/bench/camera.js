// The tablet's camera instead of a scanner: the browser's own detector where it has one, else the reader that lies
// beside this file. Browsers give the camera to pages over HTTPS or on this machine alone.

const EVERY = 150; // milliseconds between two looks
const WIDTH = 640; // pixels: enough for a ticket held a hand's width away

/** What is missing, in words; "" if the camera can be tried. */
export function missing() {
  if (!window.isSecureContext) return "The camera works over HTTPS only: serve the lab with --tls, or use a scanner.";
  if (!navigator.mediaDevices?.getUserMedia) return "This browser gives no page a camera; use a scanner.";
  return "";
}

/** Shows the camera in `video` and calls `read` with every text it sees, until the returned function is called. */
export async function watch(video, read) {
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  video.srcObject = stream;
  await video.play();
  const look = await detector(video);
  const timer = setInterval(async () => {
    const text = await look();
    if (text) read(text);
  }, EVERY);
  return () => {
    clearInterval(timer);
    for (const track of stream.getTracks()) track.stop();
    video.srcObject = null;
  };
}

async function detector(video) {
  if ("BarcodeDetector" in window && (await BarcodeDetector.getSupportedFormats()).includes("qr_code")) {
    const native = new BarcodeDetector({ formats: ["qr_code"] });
    return async () => (await native.detect(video))[0]?.rawValue;
  }
  const { default: decode } = await import("../vendor/qr/decode.js");
  const canvas = document.createElement("canvas");
  const drawing = canvas.getContext("2d", { willReadFrequently: true });
  return async () => {
    canvas.width = WIDTH;
    canvas.height = Math.round((WIDTH * video.videoHeight) / video.videoWidth);
    drawing.drawImage(video, 0, 0, canvas.width, canvas.height);
    try {
      return decode(drawing.getImageData(0, 0, canvas.width, canvas.height));
    } catch {
      return ""; // no code in sight
    }
  };
}
