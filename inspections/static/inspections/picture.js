/* Makes a photo small enough for a weak connection: at most 1600 px, upright, as JPEG. */

const LONGEST = 1600;
const MOST_BYTES = 8 * 1024 * 1024;

export async function smaller(file) {
  let image;
  try {
    image = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    if (file.size > MOST_BYTES) throw new Error("This picture cannot be read here and is too large to send.");
    return file; // the service decides
  }
  const scale = Math.min(1, LONGEST / Math.max(image.width, image.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(image.width * scale));
  canvas.height = Math.max(1, Math.round(image.height * scale));
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  image.close();
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.82));
  if (!blob) throw new Error("This picture could not be made smaller.");
  return blob;
}
